//! The contents of a mail that tells one person of one adviser's blocks, made from the night's plan.

use chrono::NaiveDate;

use super::alert::{Alert, alert};
use super::key_date::key_dates;
use super::letter::{Letter, letter};
use crate::id::PersonId;
use crate::ledger::plan::{Part, Tells};
use crate::ledger::{CatchUp, Notice};
use crate::wording::stations::StationView;
use crate::wording::words::Words;

/// A mail about one adviser's blocks; a summary stands for several.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Single {
    /// Key-date alerts.
    Alert(Alert),
    /// A weekly letter.
    Letter(Letter),
}

impl Single {
    /// What tells a part of a plan; `None` for what is only recorded, and for a digest. `why` gives the cause
    /// of a change.
    #[must_use]
    pub fn of(
        words: Words,
        day: NaiveDate,
        person: &PersonId,
        part: &Part<'_>,
        stations: &[StationView],
        why: impl Fn(&Notice) -> Option<String>,
    ) -> Option<Self> {
        let (seasons, notices) = (&part.seasons, &part.notices);
        match &part.tells {
            Tells::Digest | Tells::Recorded => None,
            Tells::Letter(told) => letter(words, day, seasons, stations, told).map(Self::Letter),
            Tells::Alert => {
                let told = part.told.iter().copied();
                let calendar = key_dates(words, person, seasons, notices, told);
                let alert = alert(words, day, seasons, notices, calendar, why)?;
                let catch_up = part.catch_up;
                Some(Self::Alert(Alert { catch_up, ..alert }))
            }
        }
    }

    /// Its one most important line.
    pub(super) fn headline(&self) -> &str {
        match self {
            Self::Alert(alert) => &alert.headline,
            Self::Letter(letter) => &letter.headline,
        }
    }

    /// How the adviser's digest names it, and how much more it tells.
    #[must_use]
    pub fn in_digest(&self) -> (String, usize) {
        match self {
            Self::Alert(alert) => (alert.headline.clone(), alert.more),
            Self::Letter(_) => ("the weekly letter".to_owned(), 0),
        }
    }

    pub(super) const fn catch_up(&self) -> Option<CatchUp> {
        match self {
            Self::Alert(alert) => alert.catch_up,
            Self::Letter(_) => None,
        }
    }
}
