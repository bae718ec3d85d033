//! What reading an answer gives: one day per date, and the rows that could not be used.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use duskflight_core::weather::ReceivedDay;

use super::error::ParseError;
use super::row_problem::{RowFault, RowProblem};

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
