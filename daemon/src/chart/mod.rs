//! Charts drawn once for two surfaces: as pictures for mails, in few colours with the one font that is compiled
//! in, and as SVG for pages, whose stylesheet colours them.

mod canvas;
mod catches;
mod error;
mod font;
mod glance;
mod heat;
mod indexed;
mod key;
mod palette;
mod picture;
mod plot;
mod signs;
mod size;
mod svg;

pub use error::ChartError;
pub use size::WIDTH;
pub use svg::Link;

use duskflight_core::contents::Chart;

use canvas::Canvas;
use indexed::{LEVEL, LEVEL_OF_ROWS};
use size::{SHARPNESS, SHARPNESS_OF_ROWS};

/// The colours of SVG charts, light, dark and printed: the stylesheet of whatever shows them holds it.
pub const CSS: &str = include_str!("../../templates/chart.css");

/// A chart as a PNG, one and a half times as wide as [`WIDTH`], one of many rows one and a quarter times; equal
/// charts give equal bytes.
///
/// # Errors
/// [`ChartError`].
pub fn png(chart: &Chart) -> Result<Vec<u8>, ChartError> {
    let (sharpness, level) = match chart {
        Chart::Heat(_) | Chart::Catch(_) => (SHARPNESS, LEVEL),
        Chart::Glance(_) => (SHARPNESS_OF_ROWS, LEVEL_OF_ROWS),
    };
    indexed::png(&picture::pixels(&draw(chart), sharpness)?, level)
}

/// A chart as an SVG element for a page that holds [`CSS`]; it has no ids, so that several stand on one page.
#[must_use]
pub fn svg(chart: &Chart) -> String {
    svg_with_links(chart, &|_| None)
}

/// The same, where a block's name leads to where `link` says.
#[must_use]
pub fn svg_with_links(chart: &Chart, link: Link<'_>) -> String {
    svg::svg(&draw(chart), chart.alt(), link)
}

fn draw(chart: &Chart) -> Canvas {
    match chart {
        Chart::Heat(chart) => heat::draw(chart),
        Chart::Catch(chart) => catches::draw(chart),
        Chart::Glance(chart) => glance::draw(chart),
    }
}

#[cfg(test)]
mod tests;
