//! Why a picture fails.

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
