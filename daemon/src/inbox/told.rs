//! What the mail told that an answer is about.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use duskflight_core::id::TrapId;
use rusqlite::Connection;

use crate::config::Person;
use crate::mail::contents::MailContents;
use crate::mail::mark::{Marked, which};
use crate::store::answers::{self, KeptAnswer};
use crate::store::{StoreError, made, outbox};

/// The days of readings that stand by some answers, by trap.
pub(super) fn days_told(
    connection: &Connection,
    of: &[KeptAnswer],
) -> Result<BTreeMap<String, Vec<NaiveDate>>, StoreError> {
    let mut days: BTreeMap<String, Vec<NaiveDate>> = BTreeMap::new();
    for answer in of {
        for (trap, day) in answers::visits_of(connection, &answer.id)? {
            days.entry(trap).or_default().push(day);
        }
    }
    Ok(days)
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
