//! What reading an answer gives: one day per date, and the rows that could not be used.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use duskflight_core::weather::ReceivedDay;

use super::error::ParseError;
use super::excerpt::Excerpt;

/// More faulty rows than this, and the answer is not what the feed describes.
const MOST_PROBLEMS: usize = 10_000;

/// The days of one answer.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FetchedDays {
    /// One day per date, sorted by date.
    pub days: Vec<ReceivedDay>,
    /// Rows, or values in them, that could not be used; they did not stop the rest.
    pub problems: Vec<RowProblem>,
}

impl FetchedDays {
    /// Only what concerns `from..=to`; a problem whose date could not be read always stays.
    #[must_use]
    pub fn within(mut self, from: NaiveDate, to: NaiveDate) -> Self {
        let asked = from..=to;
        self.days.retain(|day| asked.contains(&day.date));
        self.problems
            .retain(|problem| problem.date.is_none_or(|date| asked.contains(&date)));
        self
    }
}

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
    /// A value is neither a finite number nor a marker for missing; it counts as missing.
    #[error("{value} in column {column:?} is not a temperature")]
    NotATemperature {
        /// The column of the temperature.
        column: String,
        /// What stands there.
        value: Excerpt,
    },
    /// An earlier row has the same date; this later one is used.
    #[error("the date was already in row {earlier}")]
    DateTwice {
        /// The row that is no longer used.
        earlier: u64,
    },
    /// The row belongs to another station and is not used.
    #[error("the row is of station {found}, not {expected:?}")]
    OtherStation {
        /// The station that was asked for.
        expected: String,
        /// The station that the row names.
        found: Excerpt,
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
    /// What becomes of the row where the rest of an answer is used.
    const fn consequence(&self) -> &'static str {
        match self {
            Self::NotATemperature { .. } => "counted as missing",
            Self::DateTwice { .. } => "this later row is used",
            Self::BadDate { .. } | Self::OtherStation { .. } | Self::FieldCount { .. } => {
                "row not used"
            }
        }
    }
}

/// Collects rows in the order they stand.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    days: BTreeMap<NaiveDate, (u64, ReceivedDay)>,
    problems: Vec<RowProblem>,
}

impl Gathered {
    /// Takes the day of a row; a later row replaces an earlier one of the same date.
    pub(super) fn day(&mut self, row: u64, day: ReceivedDay) -> Result<(), ParseError> {
        let date = day.date;
        match self.days.insert(date, (row, day)) {
            Some((earlier, _)) => self.problem(row, Some(date), RowFault::DateTwice { earlier }),
            None => Ok(()),
        }
    }

    /// Notes a problem.
    ///
    /// # Errors
    /// [`ParseError::TooManyProblems`] at the 10,001st, which also bounds the memory.
    pub(super) fn problem(
        &mut self,
        row: u64,
        date: Option<NaiveDate>,
        fault: RowFault,
    ) -> Result<(), ParseError> {
        self.problems.push(RowProblem { row, date, fault });
        if self.problems.len() <= MOST_PROBLEMS {
            return Ok(());
        }
        Err(ParseError::TooManyProblems {
            most: MOST_PROBLEMS,
            first: Box::new(self.problems.swap_remove(0)),
        })
    }

    /// The value that was read, or a noted problem and no value.
    pub(super) fn value(
        &mut self,
        row: u64,
        date: NaiveDate,
        read: Result<Option<f64>, RowFault>,
    ) -> Result<Option<f64>, ParseError> {
        match read {
            Ok(value) => Ok(value),
            Err(fault) => self.problem(row, Some(date), fault).map(|()| None),
        }
    }

    pub(super) fn finish(self) -> FetchedDays {
        FetchedDays {
            days: self.days.into_values().map(|(_, day)| day).collect(),
            problems: self.problems,
        }
    }
}
