//! Mails that were made before, as the night's plan asks for them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use duskflight_core::id::PersonId;
use duskflight_core::ledger::MailKind;
use rusqlite::Connection;

use super::{StoreError, day};

/// The mails of a civil day, tests apart: kind, recipient, and the adviser whose blocks it is about, unless it
/// is about those of several.
///
/// # Errors
/// A failing statement.
pub fn of_day(
    connection: &Connection,
    day: NaiveDate,
) -> Result<BTreeSet<(MailKind, PersonId, Option<PersonId>)>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT kind, person, adviser FROM outbox WHERE day = ?1 AND kind != 'test'",
    )?;
    let rows = statement.query_map([day.to_string()], |row| {
        Ok((row.get(0)?, row.get(1)?, row.get(2)?))
    })?;
    rows.map(|row| {
        let (kind, person, adviser): (String, String, String) = row?;
        let adviser = match adviser.as_str() {
            "" => None,
            adviser => Some(self::person("adviser", adviser)?),
        };
        Ok((kind_of(&kind)?, self::person("person", &person)?, adviser))
    })
    .collect()
}

/// The newest civil day before another of which each person was sent a digest, or one waits for them.
///
/// # Errors
/// A failing statement.
pub fn newest_digests(
    connection: &Connection,
    before: NaiveDate,
) -> Result<BTreeMap<PersonId, NaiveDate>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT person, max(day) FROM outbox WHERE kind = 'digest' AND day < ?1
           AND state NOT IN ('failed', 'expired', 'folded') GROUP BY person",
    )?;
    let rows = statement.query_map([before.to_string()], |row| Ok((row.get(0)?, row.get(1)?)))?;
    rows.map(|row| {
        let (person, newest): (String, String) = row?;
        Ok((self::person("person", &person)?, day(&newest)?))
    })
    .collect()
}

fn person(column: &'static str, id: &str) -> Result<PersonId, StoreError> {
    PersonId::new(id).map_err(|_| bad(column, id))
}

fn kind_of(name: &str) -> Result<MailKind, StoreError> {
    let kind = MailKind::ALL.into_iter().find(|kind| kind.name() == name);
    kind.ok_or_else(|| bad("kind", name))
}

fn bad(column: &'static str, value: &str) -> StoreError {
    StoreError::Value {
        column,
        value: value.to_owned(),
    }
}
