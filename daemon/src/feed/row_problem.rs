//! What is wrong with a row of an answer.

use std::fmt;

use chrono::NaiveDate;

use super::excerpt::Excerpt;

/// A row, or a value in it, that could not be used.
#[derive(Debug, Clone, PartialEq)]
pub struct RowProblem {
    /// Where it is: the line of a table, or the place in a list, both counted from 1.
    pub row: u64,
    /// The day of the row, when its date could be read.
    pub date: Option<NaiveDate>,
    /// What is wrong.
    pub fault: RowFault,
}

impl fmt::Display for RowProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "row {}", self.row)?;
        if let Some(date) = self.date {
            write!(f, " ({date})")?;
        }
        write!(f, ": {}; {}", self.fault, self.fault.consequence())
    }
}

/// What is wrong with a row.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RowFault {
    /// The date cannot be read; the row is not used.
    #[error("{value} in column {column:?} is not a date of the form {format:?}")]
    BadDate {
        /// The column of the date.
        column: String,
        /// What stands there.
        value: Excerpt,
        /// The form that was expected, in strftime's letters.
        format: String,
    },
    /// The date cannot be read, and nothing says how dates are written; the row is not used.
    #[error(
        "{value} in column {column:?} is not read as a date; say in date_format how dates are written there, such as \"%m/%d/%y\""
    )]
    UnknownDate {
        /// The column of the date.
        column: String,
        /// What stands there.
        value: Excerpt,
    },
    /// A value is neither a finite number nor a marker for missing; it counts as missing.
    #[error("{value} in column {column:?} is not a temperature")]
    NotATemperature {
        /// The column of the temperature.
        column: String,
        /// What stands there.
        value: Excerpt,
    },
    /// An earlier row has the same date; where the two differ, neither counts.
    #[error("the date was already in row {earlier}")]
    DateTwice {
        /// The earlier row.
        earlier: u64,
    },
    /// The row does not name its unit, or names one that is none; it is not used.
    #[error("the unit {value} is neither (F) nor (C)")]
    BadUnit {
        /// What stands there.
        value: Excerpt,
    },
    /// The row belongs to another station and is not used.
    #[error("the row is of station {found}, not {expected:?}")]
    OtherStation {
        /// The station that was asked for.
        expected: String,
        /// The station that the row names.
        found: Excerpt,
    },
    /// A line whose values stand in no sure place; it is not used.
    #[error("{value} is not of the form that its line should have")]
    NotItsForm {
        /// What it begins with.
        value: Excerpt,
    },
    /// A value for a day that its month does not have.
    #[error("there is a value for day {day}, which the month does not have")]
    NoSuchDay {
        /// The day's number.
        day: u32,
    },
    /// The row has more or fewer fields than the header, so that no value has a sure place.
    #[error("the row has {found} fields and the header has {expected}")]
    FieldCount {
        /// Fields in the header.
        expected: u64,
        /// Fields in the row.
        found: u64,
    },
}

impl RowFault {
    /// The row is of the station `found`.
    pub(super) fn other_station(expected: &str, found: &str) -> Self {
        Self::OtherStation {
            expected: expected.to_owned(),
            found: Excerpt::of_cell(found),
        }
    }

    /// What becomes of the row where the rest of an answer is used.
    const fn consequence(&self) -> &'static str {
        match self {
            Self::NotATemperature { .. } => "counted as missing",
            Self::NoSuchDay { .. } => "value not used",
            Self::DateTwice { .. } => "where the two differ, neither counts",
            Self::BadDate { .. }
            | Self::UnknownDate { .. }
            | Self::BadUnit { .. }
            | Self::OtherStation { .. }
            | Self::NotItsForm { .. }
            | Self::FieldCount { .. } => "row not used",
        }
    }
}
