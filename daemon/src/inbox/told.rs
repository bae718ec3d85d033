//! What the mail told that an answer is about.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use duskflight_core::answer::{Line, Says};
use duskflight_core::id::TrapId;
use rusqlite::Connection;

use crate::config::Person;
use crate::mail::contents::MailContents;
use crate::mail::mark::{Marked, which};
use crate::store::answers::{self, KeptAnswer};
use crate::store::{StoreError, made, outbox};

/// The days of readings that a receipt told of, by trap.
#[derive(Debug, Default)]
pub(super) struct DaysTold(BTreeMap<TrapId, BTreeSet<NaiveDate>>);

impl DaysTold {
    /// Of readings that stand by some answers and by what was sent to their receipts, or that wait for a word.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub(super) fn by(connection: &Connection, told: &[KeptAnswer]) -> Result<Self, StoreError> {
        let mut days = Self::default();
        for answer in answers::with_followers(connection, told)? {
            for (trap, day) in answers::visits_of(connection, &answer.id)? {
                days.note(trap, day);
            }
            for line in waiting(&answer) {
                if let Says::Visit(visit) = line.says {
                    days.note(visit.trap, visit.date);
                }
            }
        }
        Ok(days)
    }

    fn note(&mut self, trap: TrapId, day: NaiveDate) {
        self.0.entry(trap).or_default().insert(day);
    }

    /// That of a trap, where it is one.
    pub(super) fn of(&self, trap: &TrapId) -> Option<NaiveDate> {
        let days = self.0.get(trap).filter(|days| days.len() == 1);
        days.and_then(BTreeSet::first).copied()
    }

    /// Whether all are of one day.
    pub(super) fn are_all(&self, day: NaiveDate) -> bool {
        self.0.values().flatten().all(|told| *told == day)
    }
}

/// The lines of an answer that wait for a word.
pub(super) fn waiting(answer: &KeptAnswer) -> Vec<Line> {
    let lines = answer.asked.as_deref();
    let lines = lines.and_then(|json| serde_json::from_str(json).ok());
    lines.unwrap_or_default()
}

/// The traps of the round mail that is answered, in its order; of a receipt, with the answers that it
/// told of, those of the round that the first was about.
pub(super) fn asked_traps(
    connection: &Connection,
    person: &Person,
    marked: &Marked,
    told: &[KeptAnswer],
) -> Result<Vec<TrapId>, StoreError> {
    let (kind, day, name) = match told.first() {
        Some(first) => (first.kind, first.day, first.which.as_str()),
        None => (marked.kind, marked.day, marked.which.as_str()),
    };
    let made = made::of_day(connection, day)?;
    let mail = made
        .iter()
        .find(|mail| mail.kind == kind && mail.person == person.id && which(mail) == name);
    let Some(mail) = mail else {
        return Ok(Vec::new());
    };
    let contents = outbox::contents_of_identity(connection, mail)?;
    let contents = contents.and_then(|json| MailContents::from_json(&json).ok());
    Ok(contents
        .map(|contents| contents.asked_traps())
        .unwrap_or_default())
}
