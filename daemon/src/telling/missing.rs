//! A morning on which records are missing: advisers hear of that, and nobody of anything else.

use std::collections::BTreeSet;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::contents::records_missing;
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailIdentity, MailKind, MissingRecords, Notice, Role, taken_back};
use rusqlite::Connection;

use super::draft::Address;
use super::{Night, Purpose, TellError, Told, night, prepare};
use crate::config::{Config, Person};
use crate::mail::contents::Holds;
use crate::mail::mark::MarkKey;
use crate::store::jobs::{self, Job};
use crate::store::{Store, answers, made, outbox};

/// Tells advisers that records are missing, once a day in season. The day stays untold, so that it is tried again
/// once the records are back.
///
/// # Errors
/// [`TellError`]; then nothing of the day is written.
pub async fn tell_missing(
    store: &Store,
    config: &Arc<Config>,
    day: NaiveDate,
    missing: MissingRecords,
    now: DateTime<Utc>,
) -> Result<Told, TellError> {
    let config = Arc::clone(config);
    store
        .write(move |transaction| {
            jobs::begin(transaction, Job::Tell, day, now)?;
            let mails = match config.pace_on(day) {
                Some(_) => queue(transaction, &config, day, &missing, now)?,
                None => 0,
            };
            let error = config.words.missing_records(&missing);
            jobs::finish(transaction, Job::Tell, day, now, Some(&error))?;
            Ok(Told::Missing { mails })
        })
        .await
}

/// Queues a mail to each adviser who has none of the day yet, and gives how many.
fn queue(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
    missing: &MissingRecords,
    now: DateTime<Utc>,
) -> Result<usize, TellError> {
    let made = made::of_day(connection, day)?;
    let is_made =
        |mail: &MailIdentity, of: &Person| mail.kind == MailKind::Records && mail.person == of.id;
    let advisers = config.people.iter();
    let advisers = advisers.filter(|person| person.roles.has(Role::Adviser));
    let untold = advisers.filter(|person| !made.iter().any(|mail| is_made(mail, person)));
    let untold: Vec<&Person> = untold.collect();
    if untold.is_empty() {
        return Ok(0);
    }
    let night = night(connection, config, day)?;
    let back = would_take_back(connection, config, &night, now)?;
    let people: BTreeSet<&PersonId> = back.iter().map(|(person, _)| person).collect();
    let counts = (back.len(), people.len());
    let key = MarkKey::new(answers::mark_key(connection)?);
    let address = Address {
        config,
        key: &key,
        day,
        now,
    };
    for adviser in &untold {
        let missing = records_missing(config.words, day, missing, counts);
        let draft = address.draft(adviser, &[adviser], Holds::Records { missing });
        outbox::queue(connection, &draft.mail)?;
    }
    Ok(untold.len())
}

/// What would be taken back from others than advisers if the records were taken as they are.
///
/// # Errors
/// When the records cannot be read.
pub fn would_take_back(
    connection: &Connection,
    config: &Config,
    night: &Night,
    now: DateTime<Utc>,
) -> Result<Vec<(PersonId, Notice)>, TellError> {
    let tellings = prepare(connection, config, night, Purpose::Tell, now)?;
    let mut all = Vec::new();
    for telling in tellings {
        let kind = telling.draft.map(|draft| draft.mail.kind);
        if kind != Some(MailKind::Digest) {
            let back = taken_back(&telling.notices).cloned();
            all.extend(back.map(|notice| (telling.person.clone(), notice)));
        }
    }
    Ok(all)
}
