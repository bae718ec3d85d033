//! What the records say of the nights before: the ledger, the mails that were made, and the day itself, as the
//! night's plan takes them.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::Role;
use duskflight_core::ledger::plan::{Folded, Hearer, Ledger, Letters, MadeMails, Pace, Tonight};
use rusqlite::Connection;

use super::purpose::Purpose;
use crate::clock::day_before;
use crate::config::Config;
use crate::store::folding::{FoldedMail, silent_from};
use crate::store::jobs::{self, Job};
use crate::store::{StoreError, made, told};

/// The ledger before a night. A preview is made as if the day had not been told yet.
pub(super) fn ledger(
    connection: &Connection,
    day: NaiveDate,
    purpose: Purpose,
) -> Result<Ledger, StoreError> {
    let told_up_to = match purpose {
        Purpose::Tell => day,
        Purpose::Preview | Purpose::PreviewLetters => day_before(day),
    };
    Ok(Ledger::new(told::latest(
        connection,
        day.year(),
        told_up_to,
    )?))
}

/// The night that is told.
pub(super) fn tonight(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
    pace: Pace,
    purpose: Purpose,
) -> Result<Tonight, StoreError> {
    Ok(Tonight {
        day,
        pace,
        told_before: told_before(connection, config, day)?,
        owed_before: config.owed_before(day),
        most_mails: usize::from(config.most_mails_a_day),
        share_days: config.share_days,
        letters: match purpose {
            Purpose::PreviewLetters => Letters::All,
            Purpose::Tell | Purpose::Preview => Letters::OnTheirDay,
        },
    })
}

/// The newest civil day before another on which people were told: the job is also done on days off the
/// season on which nobody hears anything.
fn told_before(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let mut done = jobs::done_before(connection, Job::Tell, day)?;
    while let Some(day) = done.filter(|day| config.pace_on(*day).is_none()) {
        done = jobs::done_before(connection, Job::Tell, day)?;
    }
    Ok(done)
}

/// The mails that were made, with those that were folded tonight.
pub(super) fn mails(
    connection: &Connection,
    people: &[Hearer],
    day: NaiveDate,
    purpose: Purpose,
    folded: &[FoldedMail],
) -> Result<MadeMails, StoreError> {
    let folded = folded.iter().map(|mail| Folded {
        kind: mail.kind,
        person: mail.person.clone(),
        advisers: mail.advisers.clone(),
    });
    let folded: Vec<Folded> = folded.collect();
    Ok(MadeMails {
        today: match purpose {
            Purpose::Tell => made::of_day(connection, day)?,
            Purpose::Preview | Purpose::PreviewLetters => Default::default(),
        },
        newest_digest: newest_digests(connection, people, day)?,
        last_made: made::newest_day(connection, day)?,
        silent_from: silence(connection, &folded)?,
        folded,
    })
}

fn newest_digests(
    connection: &Connection,
    people: &[Hearer],
    day: NaiveDate,
) -> Result<BTreeMap<PersonId, NaiveDate>, StoreError> {
    let mut newest = BTreeMap::new();
    for adviser in people.iter().filter(|p| p.roles.has(Role::Adviser)) {
        let of_adviser = made::newest_digest(connection, &adviser.id, day)?;
        newest.extend(of_adviser.map(|of| (adviser.id.clone(), of)));
    }
    Ok(newest)
}

fn silence(
    connection: &Connection,
    folded: &[Folded],
) -> Result<BTreeMap<(PersonId, PersonId), NaiveDate>, StoreError> {
    let mut silence = BTreeMap::new();
    for mail in folded {
        for adviser in &mail.advisers {
            let from = silent_from(connection, &mail.person, adviser)?;
            let key = (mail.person.clone(), adviser.clone());
            silence.extend(from.map(|from| (key, from)));
        }
    }
    Ok(silence)
}
