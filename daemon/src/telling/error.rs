//! Why a day could not be told.

use chrono::NaiveDate;

use crate::store::StoreError;

/// Why a day could not be told.
#[derive(Debug, thiserror::Error)]
pub enum TellError {
    /// The records.
    #[error("read or write the records")]
    Store(#[from] StoreError),
    /// A later day has been told: telling an earlier one now would take back what is known since.
    #[error(
        "tell {day}: {newest} has been told already; see an earlier day with `preview` or `season`"
    )]
    Past {
        /// The day asked for.
        day: NaiveDate,
        /// The newest day told.
        newest: NaiveDate,
    },
}
