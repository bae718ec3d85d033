//! What reading an answer gives: one day per date, and the rows that could not be used.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use duskflight_core::weather::{Element, ReceivedDay};

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
    /// Values of which rows of one date say different things.
    disputed: BTreeSet<(NaiveDate, Element)>,
    problems: Vec<RowProblem>,
}

impl Gathered {
    /// Takes the day of a row. Where rows of one date differ, nobody knows which is right, whatever their order: that value
    /// does not count.
    pub(super) fn day(&mut self, row: u64, day: ReceivedDay) -> Result<(), ParseError> {
        let date = day.date;
        let Some((earlier, known)) = self.days.get_mut(&date) else {
            self.days.insert(date, (row, day));
            return Ok(());
        };
        let earlier = *earlier;
        let minima = (known.min, day.min);
        let maxima = (known.max, day.max);
        if known.min.is_none() {
            (known.min, known.min_flag) = (day.min, day.min_flag);
        }
        if known.max.is_none() {
            (known.max, known.max_flag) = (day.max, day.max_flag);
        }
        for (element, values) in [(Element::Min, minima), (Element::Max, maxima)] {
            if let (Some(one), Some(other)) = values
                && one != other
            {
                self.disputed.insert((date, element));
            }
        }
        self.problem(row, Some(date), RowFault::DateTwice { earlier })
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

    pub(super) fn finish(mut self) -> FetchedDays {
        for (date, element) in &self.disputed {
            if let Some((_, day)) = self.days.get_mut(date) {
                match element {
                    Element::Min => (day.min, day.min_flag) = (None, None),
                    Element::Max => (day.max, day.max_flag) = (None, None),
                }
            }
        }
        FetchedDays {
            days: self.days.into_values().map(|(_, day)| day).collect(),
            problems: self.problems,
        }
    }
}
