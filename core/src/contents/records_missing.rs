//! The mail that stands for an adviser's digest while records are missing, without markup.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::ledger::MissingRecords;
use crate::wording::words::Words;

/// What an adviser is told while records are missing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RecordsMissing {
    /// What a subject says.
    pub headline: String,
    /// What is missing, and what follows.
    pub says: Vec<String>,
    /// The ways to settle it.
    pub ways: Vec<String>,
}

/// The mail of a day. `taken_back`: dates that would be taken back, and from how many people.
#[must_use]
pub fn records_missing(
    words: Words,
    day: NaiveDate,
    missing: &MissingRecords,
    taken_back: (usize, usize),
) -> RecordsMissing {
    RecordsMissing {
        headline: format!(
            "{}: records are missing, growers are told nothing",
            words.day(day)
        ),
        says: vec![
            words.missing_records(missing),
            "Until this is settled nothing is told to growers, nothing is taken back, and no digest is made."
                .to_owned(),
        ],
        ways: words.ways_to_settle(taken_back),
    }
}
