//! Charts as pictures for mails: drawn with the one font that is compiled in, written in few colours.

mod canvas;
mod catches;
mod error;
mod font;
mod glance;
mod heat;
mod indexed;
mod key;
mod palette;
mod plot;
mod signs;
mod size;

pub use error::ChartError;
pub use size::WIDTH;

use duskflight_core::contents::Chart;

use indexed::{LEVEL, LEVEL_OF_ROWS};

/// A chart as a PNG, one and a half times as wide as [`WIDTH`], one of many rows one and a quarter times; equal
/// charts give equal bytes.
///
/// # Errors
/// [`ChartError`].
pub fn png(chart: &Chart) -> Result<Vec<u8>, ChartError> {
    let (canvas, level) = match chart {
        Chart::Heat(chart) => (heat::draw(chart)?, LEVEL),
        Chart::Catch(chart) => (catches::draw(chart)?, LEVEL),
        Chart::Glance(chart) => (glance::draw(chart)?, LEVEL_OF_ROWS),
    };
    indexed::png(canvas.picture(), level)
}

#[cfg(test)]
mod tests;
