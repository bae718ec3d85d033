//! The only SQL: one SQLite file, one thread that owns its connection, numbered migrations.
//!
//! Other code hands closures to [`Store::write`] and [`Store::read`]; the files of this module
//! have the statements, one file for each kind of record.

pub mod alerts;
mod connection;
pub mod days;
pub mod decisions;
pub mod disk_space;
pub mod entries;
pub mod folding;
pub mod forecasts;
pub mod jobs;
pub mod journal;
pub mod made;
mod migration;
pub mod notes;
pub mod outbox;
pub mod outbox_edit;
pub mod outbox_report;
pub mod retention;
#[cfg(test)]
mod sample;
mod shrink;
pub mod snapshot;
pub mod told;
pub mod visits;

pub use connection::Store;
pub use migration::CopyError;

use std::path::PathBuf;
use std::str::FromStr;

use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Row, RowIndex};

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
    /// The file could not be copied before its schema is brought up to date.
    #[error(
        "copy the database to {path} before its schema is brought up to date; nothing was changed"
    )]
    Copy {
        /// The copy.
        path: PathBuf,
        /// Why.
        source: CopyError,
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

impl StoreError {
    /// Whether the same may go well in a moment: another process holds the database.
    #[must_use]
    pub fn passes_by_itself(&self) -> bool {
        use rusqlite::ErrorCode::{DatabaseBusy, DatabaseLocked};
        let Self::Sql(error) = self else { return false };
        matches!(
            error.sqlite_error_code(),
            Some(DatabaseBusy | DatabaseLocked)
        )
    }
}

/// A stored civil day, `YYYY-MM-DD` as the schema checks. A night reads millions of them, and a parser
/// that knows the form is several times faster than one that takes many.
pub(crate) fn day(text: &str) -> Result<NaiveDate, StoreError> {
    let number = |digits: &[u8]| {
        digits.iter().try_fold(0, |number, digit| {
            digit
                .is_ascii_digit()
                .then(|| 10 * number + u32::from(digit - b'0'))
        })
    };
    let date = |text: &[u8]| match text {
        [year @ .., b'-', month_1, month_2, b'-', day_1, day_2] if year.len() == 4 => {
            let year = i32::try_from(number(year)?).ok()?;
            NaiveDate::from_ymd_opt(
                year,
                number(&[*month_1, *month_2])?,
                number(&[*day_1, *day_2])?,
            )
        }
        _ => None,
    };
    date(text.as_bytes()).ok_or_else(|| StoreError::Value {
        column: "day",
        value: text.to_owned(),
    })
}

/// A text of a row, as it lies there.
pub(crate) fn text<'row>(
    row: &'row Row<'_>,
    column: impl RowIndex,
) -> Result<&'row str, StoreError> {
    let value = row.get_ref(column)?;
    Ok(value.as_str().map_err(rusqlite::Error::from)?)
}

/// A stored word or id.
pub(crate) fn parsed<T: FromStr>(column: &'static str, text: &str) -> Result<T, StoreError> {
    text.parse().map_err(|_| StoreError::Value {
        column,
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_civil_day_is_read_in_its_one_form_only() {
        let leap = NaiveDate::from_ymd_opt(2020, 2, 29).unwrap();
        assert_eq!(day("2020-02-29").unwrap(), leap);
        for wrong in [
            "2021-02-29",
            "2020-2-29",
            "20-02-29",
            "2020-02-2x",
            "2020/02/29",
            "",
            "-020-02-29",
        ] {
            assert!(day(wrong).is_err(), "{wrong}");
        }
    }
}
