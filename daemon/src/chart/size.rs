//! How large pictures are.

/// Width of a picture in the pixels of a mail's layout.
pub const WIDTH: u32 = 640;
/// Pixels of the picture for each pixel of the layout: a phone, which shows it at little more than half
/// its width, has more than two for each of its own.
pub(super) const SHARPNESS: f32 = 1.5;
/// The same of a picture with many rows, whose bytes grow with each of them.
pub(super) const SHARPNESS_OF_ROWS: f32 = 1.25;
/// Radius of the card's corners.
pub(super) const CORNER: f64 = 10.0;
