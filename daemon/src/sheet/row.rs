//! One row of a sheet, read field by field.

use std::fmt;

use chrono::NaiveDate;
use serde::de::value::{Error as ValueError, StrDeserializer};
use serde::de::{DeserializeOwned, IntoDeserializer};

use super::dates::{BadDay, Dates};
use super::fault::Fault;
use super::number::{self, Decimals, NoNumber};
use crate::nearest::suggestion;

/// More was not counted at one place on one day: a slip of the keys, which sums would carry on for years.
const MOST_COUNTED: u64 = 100_000;
/// Longest cell, in bytes: a remark of a page. Tables, mails and every night read it.
pub(super) const LONGEST_CELL: usize = 2_000;

/// How the cells of a sheet are to be read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading<'a> {
    pub(super) dates: &'a Dates,
    pub(super) decimals: Decimals,
}

/// One row, its fields by column name.
pub(crate) struct Row<'a> {
    pub(super) number: usize,
    /// `None` for columns without a name.
    pub(super) header: &'a [Option<&'static str>],
    pub(super) record: &'a csv::StringRecord,
    pub(super) reading: Reading<'a>,
}

impl Row<'_> {
    /// Row as a spreadsheet numbers it.
    pub(crate) const fn number(&self) -> usize {
        self.number
    }

    /// A field's text; empty when it was not given.
    pub(crate) fn text(&self, column: &'static str) -> &str {
        let place = self.header.iter().position(|name| *name == Some(column));
        place
            .and_then(|place| self.record.get(place))
            .unwrap_or_default()
    }

    /// A fault of a field.
    pub(crate) fn wrong(&self, column: &'static str, reason: impl fmt::Display) -> Fault {
        Fault {
            row: self.number,
            column: Some(column),
            value: self.text(column).to_owned(),
            reason: reason.to_string(),
            doubted: false,
        }
    }

    /// What is asked about in a field and may be right after all.
    pub(crate) fn doubt(&self, column: &'static str, reason: impl fmt::Display) -> Fault {
        Fault {
            doubted: true,
            ..self.wrong(column, reason)
        }
    }

    /// Cells that are longer than any may be.
    pub(super) fn too_long(&self) -> impl Iterator<Item = Fault> {
        let columns = self.header.iter().zip(self.record);
        let long = columns.filter(|(_, cell)| cell.len() > LONGEST_CELL);
        long.filter_map(|(column, cell)| {
            let length = cell.len();
            let why =
                format!("it has {length} bytes; a cell has room for {LONGEST_CELL}: shorten it");
            Some(self.wrong((*column)?, why))
        })
    }

    /// A civil day.
    pub(crate) fn day(&self, column: &'static str) -> Result<NaiveDate, Fault> {
        let day = self.reading.dates.read(self.text(column));
        day.map_err(|bad| self.no_day(column, &bad, "write a day as YYYY-MM-DD"))
    }

    /// Civil days with blanks between them.
    pub(crate) fn days(&self, column: &'static str) -> Result<Vec<NaiveDate>, Fault> {
        let days = self.text(column).split_whitespace();
        let days = days.map(|day| self.reading.dates.read(day));
        let wanted = "write days as YYYY-MM-DD, with blanks between them";
        days.collect::<Result<_, _>>()
            .map_err(|bad| self.no_day(column, &bad, wanted))
    }

    fn no_day(&self, column: &'static str, bad: &BadDay, wanted: &str) -> Fault {
        match bad {
            BadDay::Unread => self.wrong(column, wanted),
            bad => {
                let why = format!("{bad}; write all days in one way, best as YYYY-MM-DD");
                self.wrong(column, why)
            }
        }
    }

    /// A count; `None` when it was not given.
    pub(crate) fn count(&self, column: &'static str) -> Result<Option<u32>, Fault> {
        self.given(column, |text| {
            match number::whole(text, self.reading.decimals) {
                Ok(count) if count <= MOST_COUNTED => Ok(u32::try_from(count).unwrap_or(u32::MAX)),
                Ok(_) => {
                    let why = format!(
                        "more than {MOST_COUNTED}, which nobody counts; write what was counted"
                    );
                    Err(self.wrong(column, why))
                }
                Err(NoNumber::Unread) => {
                    Err(self.wrong(column, "write a whole number, or leave it empty"))
                }
                Err(NoNumber::Unclear(one, other)) => Err(self.unclear(column, &one, &other)),
            }
        })
    }

    /// A number from zero up to a limit; `None` when it was not given.
    pub(crate) fn number_up_to(
        &self,
        column: &'static str,
        most: f64,
        wanted: &str,
    ) -> Result<Option<f64>, Fault> {
        self.given(column, |text| {
            match number::any(text, self.reading.decimals) {
                // A sum with zero has no sign where it is zero.
                Ok(number) if (0.0..=most).contains(&number) => Ok(number + 0.0),
                Err(NoNumber::Unclear(one, other)) => Err(self.unclear(column, &one, &other)),
                Ok(_) | Err(NoNumber::Unread) => Err(self.wrong(column, wanted)),
            }
        })
    }

    fn unclear(&self, column: &'static str, one: &str, other: &str) -> Fault {
        let why = format!("it may be {one} or {other}; write it without a mark for thousands");
        self.wrong(column, why)
    }

    /// `yes` or `no`, which a spreadsheet may have turned into a truth value; `None` when it was not given.
    pub(crate) fn yes_or_no(&self, column: &'static str) -> Result<Option<bool>, Fault> {
        self.given(column, |text| match text.to_ascii_lowercase().as_str() {
            "yes" | "true" => Ok(true),
            "no" | "false" => Ok(false),
            _ => Err(self.wrong(column, "write yes or no, or leave it empty")),
        })
    }

    /// An id or one of a set of words.
    pub(crate) fn word<T: DeserializeOwned>(&self, column: &'static str) -> Result<T, Fault> {
        self.parsed(column, self.text(column))
    }

    /// Any number of a set of words, with blanks between them.
    pub(crate) fn words<T: DeserializeOwned>(&self, column: &'static str) -> Result<Vec<T>, Fault> {
        let words = self.text(column).split_whitespace();
        words.map(|word| self.parsed(column, word)).collect()
    }

    fn parsed<T: DeserializeOwned>(&self, column: &'static str, text: &str) -> Result<T, Fault> {
        let text: StrDeserializer<'_, ValueError> = text.into_deserializer();
        T::deserialize(text).map_err(|error| {
            let message = error.to_string();
            let mut quoted = message.split('`').skip(1).step_by(2);
            let near = quoted.next().map(|word| suggestion(word, quoted));
            self.wrong(column, format!("{message}{}", near.unwrap_or_default()))
        })
    }

    /// A field that may be left empty.
    pub(crate) fn given<T>(
        &self,
        column: &'static str,
        read: impl FnOnce(&str) -> Result<T, Fault>,
    ) -> Result<Option<T>, Fault> {
        match self.text(column) {
            "" => Ok(None),
            text => read(text).map(Some),
        }
    }
}
