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

/// A chart as a PNG, one and a half times as wide as [`WIDTH`]; equal charts give equal bytes.
///
/// # Errors
/// [`ChartError`].
pub fn png(chart: &Chart) -> Result<Vec<u8>, ChartError> {
    let canvas = match chart {
        Chart::Heat(chart) => heat::draw(chart)?,
        Chart::Catch(chart) => catches::draw(chart)?,
        Chart::Glance(chart) => glance::draw(chart)?,
    };
    indexed::png(canvas.picture())
}

#[cfg(test)]
mod tests;
