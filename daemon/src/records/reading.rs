//! What the rows of a sheet are read with, and what is asked about them.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::orchard::Orchard;
use duskflight_core::wording::Words;

use crate::sheet::{Dates, Fault};

/// What a row is read with besides its cells.
pub(super) struct Reading<'a> {
    /// What is declared, up to today.
    pub(super) orchard: Orchard,
    /// The farm's civil day.
    pub(super) today: NaiveDate,
    /// The instant.
    pub(super) now: DateTime<Utc>,
    /// Who enters rows that name nobody.
    pub(super) by: &'a str,
    /// The farm's words.
    pub(super) words: Words,
    /// The days of one sheet.
    pub(super) dates: Dates,
}

/// A record of a row, and what is asked about it.
pub(super) type Asked<T> = (T, Vec<Fault>);
