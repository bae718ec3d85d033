//! Why a report could not be made.

use crate::store::StoreError;

/// Why a report could not be made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The records.
    #[error("read the records")]
    Store(#[from] StoreError),
    /// The page.
    #[error("fill in the page of a report")]
    Template(#[from] askama::Error),
}
