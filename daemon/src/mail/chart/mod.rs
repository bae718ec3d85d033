//! Charts as pictures for mails: drawn as SVG, turned into a PNG with the one font that is compiled in.

mod canvas;
mod catches;
mod heat;
mod indexed;
mod key;
mod palette;
mod plot;

use std::sync::Arc;

use duskflight_core::contents::Chart;
use resvg::usvg::fontdb::Database;
use resvg::{tiny_skia, usvg};

use canvas::{Canvas, UNITS};

/// Width of a picture in the pixels of a mail's layout.
pub const WIDTH: u32 = 640;
/// Pixels of the picture for each pixel of the layout, for sharp screens.
const SHARPNESS: u32 = 2;
/// The one font, see `fonts/PROVENANCE.md`.
const FONT: &[u8] = include_bytes!("../../../fonts/inter-medium-latin.otf");
/// Its family.
const FAMILY: &str = "Inter Medium";

/// Why a chart could not be made a picture.
#[derive(Debug, thiserror::Error)]
pub enum ChartError {
    /// The drawing.
    #[error("draw a chart: {0}")]
    Draw(String),
    /// The drawing read back.
    #[error("read a chart's drawing")]
    Read(#[from] usvg::Error),
    /// The picture.
    #[error("turn a chart into a picture: {0}")]
    Picture(String),
}

/// A chart as a PNG of twice [`WIDTH`]; equal charts give equal bytes.
///
/// # Errors
/// [`ChartError`].
pub fn png(chart: &Chart) -> Result<Vec<u8>, ChartError> {
    let canvas = match chart {
        Chart::Heat(chart) => heat::draw(chart)?,
        Chart::Catch(chart) => catches::draw(chart)?,
    };
    raster(&canvas)
}

fn raster(canvas: &Canvas) -> Result<Vec<u8>, ChartError> {
    let options = usvg::Options {
        fontdb: Arc::new(fonts()),
        font_family: FAMILY.to_owned(),
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_str(&canvas.svg()?, &options)?;
    let (width, height) = (WIDTH * SHARPNESS, canvas.height() * SHARPNESS);
    let mut picture = tiny_skia::Pixmap::new(width, height)
        .ok_or_else(|| ChartError::Picture(format!("no picture of {width} × {height} pixels")))?;
    let scale = SHARPNESS as f32 / UNITS as f32;
    let scale = tiny_skia::Transform::from_scale(scale, scale);
    resvg::render(&tree, scale, &mut picture.as_mut());
    indexed::png(&picture)
}

/// Only the font that is compiled in: fonts of the system would make a picture differ from machine to
/// machine.
fn fonts() -> Database {
    let mut fonts = Database::new();
    fonts.load_font_data(FONT.to_vec());
    fonts
}

#[cfg(test)]
mod tests;
