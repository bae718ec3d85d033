//! Why a workbook is not read.

use crate::plain_file;

/// The most bytes that a workbook may unpack to, and that its pages may have together.
pub(super) const MOST_UNPACKED: u64 = plain_file::BY_HAND;

#[derive(Debug, thiserror::Error)]
pub(in crate::sheet) enum Trouble {
    #[error("it cannot be read as a workbook: it is damaged or has a password; save it once more")]
    Damaged,
    #[error(
        "it is larger than {} MiB unpacked, the most that is read here; save the page as CSV",
        MOST_UNPACKED >> 20
    )]
    TooLarge,
    #[error(
        "it is packed and no workbook of the form .xlsx or .ods; save it as one of them or as CSV"
    )]
    OtherForm,
}
