//! Mails and records for the tests of the store.

use std::path::Path;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::MailKind;
use rusqlite::Connection;

use super::opening::create_connection;
use super::outbox::NewMail;

/// Hours since the hour of the digest of 20 June.
pub(super) fn at(hours: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_655_730_000 + hours * 3600, 0).unwrap()
}

pub(super) fn person(id: &str) -> PersonId {
    PersonId::new(id).unwrap()
}

/// A mail about Ada's blocks, told and queued so many days after 20 June.
pub(super) fn mail(id: &str, kind: MailKind, who: &str, days: i64) -> NewMail {
    let first = NaiveDate::from_ymd_opt(2022, 6, 20).unwrap();
    NewMail {
        message_id: id.to_owned(),
        kind,
        person: person(who),
        adviser: Some(person("ada")),
        day: first + TimeDelta::days(days),
        about: String::new(),
        address: format!("{who}@test.example"),
        subject: id.to_owned(),
        body: Some(id.as_bytes().to_vec()),
        queued_at: at(24 * days),
        contents: None,
        waits_for: Vec::new(),
        hold_s: 4 * 3600,
    }
}

/// Records in a folder of their own.
pub(super) fn records(folder: &Path) -> Connection {
    create_connection(&folder.join("records.sqlite")).unwrap()
}

/// The first column of a query, as text.
pub(super) fn column(connection: &Connection, sql: &str) -> Vec<String> {
    let mut statement = connection.prepare(sql).unwrap();
    let rows = statement.query_map([], |row| {
        Ok(match row.get_ref(0)? {
            rusqlite::types::ValueRef::Integer(number) => number.to_string(),
            other => other.as_str().unwrap_or_default().to_owned(),
        })
    });
    rows.unwrap().map(Result::unwrap).collect()
}
