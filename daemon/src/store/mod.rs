//! The only SQL: one SQLite file, one thread that owns its connection, numbered migrations.
//!
//! Other code hands closures to [`Store::write`] and [`Store::read`]; the files of this module
//! have the statements, one file for each kind of record.

pub mod by_hand;
mod connection;
pub mod days;
pub mod decisions;
pub mod forecasts;
pub mod jobs;
pub mod notes;
pub mod outbox;
pub mod post;
pub mod told;
pub mod visits;

pub use connection::Store;

use std::path::PathBuf;

use chrono::{DateTime, NaiveDate, Utc};

/// What can go wrong with the records.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The file cannot be opened.
    #[error("open the database {path}; check that its folder exists and can be written")]
    Open {
        /// The file.
        path: PathBuf,
        /// Why.
        source: rusqlite::Error,
    },
    /// The file was written by a newer version.
    #[error(
        "the database has schema {found}, this version knows {known}; install the newer version again"
    )]
    Newer {
        /// Its schema.
        found: i64,
        /// The newest schema known here.
        known: i64,
    },
    /// A statement failed.
    #[error("read or write the database")]
    Sql(#[from] rusqlite::Error),
    /// A stored value is not what this version writes.
    #[error("understand {value:?} in the column {column} of the database")]
    Value {
        /// The column.
        column: &'static str,
        /// What stands there.
        value: String,
    },
    /// The thread that owns the database has ended.
    #[error("reach the database thread: it has ended")]
    Ended,
}

/// A stored civil day.
pub(crate) fn day(text: &str) -> Result<NaiveDate, StoreError> {
    text.parse().map_err(|_| StoreError::Value {
        column: "day",
        value: text.to_owned(),
    })
}

/// A stored instant.
pub(crate) fn instant(seconds: i64) -> Result<DateTime<Utc>, StoreError> {
    DateTime::from_timestamp(seconds, 0).ok_or_else(|| StoreError::Value {
        column: "instant",
        value: seconds.to_string(),
    })
}
