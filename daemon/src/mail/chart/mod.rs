//! Charts as pictures for mails: drawn with the one font that is compiled in, written in few colours.

mod canvas;
mod catches;
mod font;
mod heat;
mod indexed;
mod key;
mod palette;
mod plot;

use duskflight_core::contents::Chart;

/// Width of a picture in the pixels of a mail's layout.
pub const WIDTH: u32 = 640;
/// Pixels of the picture for each pixel of the layout: a phone, which shows it at little more than half
/// its width, has more than two for each of its own.
const SHARPNESS: f32 = 1.5;

/// Why a chart could not be made a picture.
#[derive(Debug, thiserror::Error)]
pub enum ChartError {
    /// The font.
    #[error("read the font of charts")]
    Font(#[from] ttf_parser::FaceParsingError),
    /// No picture can be so large.
    #[error("no picture of {0} × {1} pixels")]
    Size(u32, u32),
    /// The picture.
    #[error("turn a chart into a picture")]
    Picture(#[from] png::EncodingError),
}

/// A chart as a PNG, one and a half times as wide as [`WIDTH`]; equal charts give equal bytes.
///
/// # Errors
/// [`ChartError`].
pub fn png(chart: &Chart) -> Result<Vec<u8>, ChartError> {
    let canvas = match chart {
        Chart::Heat(chart) => heat::draw(chart)?,
        Chart::Catch(chart) => catches::draw(chart)?,
    };
    indexed::png(canvas.picture())
}

#[cfg(test)]
mod tests;
