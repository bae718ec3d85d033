//! Setting aside what was stored under a clock that was ahead, once the right time is known.
//!
//! What was told and made for days that have not come goes out of its table into `set_aside`, as it stood: no question
//! finds it, and on that day the real one takes its place. What is true but was dated ahead, such as a visit that
//! somebody entered, keeps its place and lands now.

use std::path::Path;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rusqlite::{Connection, params};

use super::StoreError;
use super::journal::{self, JournalError};
use crate::clock::SLACK;

/// Nothing waits longer for its next try.
const LONGEST_WAIT: TimeDelta = TimeDelta::days(2);

/// What is set aside: how it is called (nothing: it is not counted by itself), its table, and which rows, where
/// `:today` is the present civil day and `:now` the latest instant that may be. Rows that refer to others come first.
const AHEAD: [(&str, &str, &str); 11] = [
    (
        "notices",
        "told",
        "day > :today OR mail IN (SELECT message_id FROM outbox WHERE day > :today)",
    ),
    (
        "",
        "mail_content",
        "message_id IN (SELECT message_id FROM outbox WHERE day > :today)",
    ),
    (
        "",
        "outbox_wait",
        "mail IN (SELECT message_id FROM outbox WHERE day > :today)
         OR digest IN (SELECT message_id FROM outbox WHERE day > :today)",
    ),
    ("mails", "outbox", "day > :today"),
    (
        "jobs",
        "job_run",
        "day > :today OR (state != 'done' AND started_at > :now)",
    ),
    ("fetches", "fetch_log", "at > :now"),
    // The present day is not over, so that no feed can have it whole.
    ("station days", "station_day", "day >= :today"),
    ("", "station_day_history", "day >= :today"),
    ("forecast days", "forecast_day", "made_on > :today"),
    ("", "feed_tries", "day > :today"),
    // A host asks for a day at the most, which is over before this can be.
    ("", "feed_wait", "asked_at > :now"),
];

/// Instants at which something true came in or was done.
const INSTANTS: [(&str, &[&str]); 19] = [
    ("station_day", &["received_at"]),
    ("station_day_history", &["received_at", "replaced_at"]),
    ("temperature_decision", &["entered_at"]),
    (
        "temperature_decision_history",
        &["entered_at", "replaced_at"],
    ),
    ("forecast_day", &["received_at"]),
    ("visit", &["entered_at"]),
    ("visit_history", &["entered_at", "replaced_at"]),
    ("note", &["entered_at"]),
    ("note_history", &["entered_at", "replaced_at"]),
    ("imported_file", &["imported_at"]),
    ("job_run", &["first_at", "started_at", "finished_at"]),
    ("mail_trouble", &["since"]),
    ("alarm", &["since"]),
    ("accepted_records", &["at"]),
    ("answer_aside", &["since", "at"]),
    ("page_password", &["set_at", "signed_in_at"]),
    ("page_code", &["made_at"]),
    ("page_session", &["begun_at", "used_at"]),
    (
        "outbox",
        &[
            "queued_at",
            "held_at",
            "released_at",
            "first_try_at",
            "sent_at",
            "given_up_at",
            "unknown_since",
        ],
    ),
];

/// What a clock that was ahead has left.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ahead {
    /// Nothing.
    Nothing,
    /// Instants alone: of tries that came to nothing, and of mails of days that have come.
    Traces,
    /// What was told of days that have not come, or what came in by then.
    Work,
}

/// What is dated after the present day, or was fetched, sent or is tried again later than now. Only what is cheap to
/// ask is asked: work that was done by a clock ahead shows in one of these.
///
/// # Errors
/// A failing statement.
pub fn ahead(
    connection: &Connection,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Ahead, StoreError> {
    let (work, traces) = connection
        .prepare_cached(
            "SELECT EXISTS (SELECT 1 FROM outbox WHERE day > ?1)
               OR EXISTS (SELECT 1 FROM job_run WHERE day > ?1 AND state = 'done')
               OR EXISTS (SELECT 1 FROM fetch_log WHERE at > ?2 AND outcome = 'ok'),
               EXISTS (SELECT 1 FROM job_run WHERE day > ?1)
               OR EXISTS (SELECT 1 FROM fetch_log WHERE at > ?2)
               OR EXISTS (SELECT 1 FROM outbox WHERE state = 'sent' AND sent_at > ?2)
               OR EXISTS (SELECT 1 FROM mail_trouble WHERE next_try_at > ?3)
               OR EXISTS (SELECT 1 FROM outbox WHERE state = 'queued' AND next_try_at > ?3)",
        )?
        .query_row(
            params![
                today.to_string(),
                (now + SLACK).timestamp(),
                (now + LONGEST_WAIT).timestamp()
            ],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
    Ok(match (work, traces) {
        (true, _) => Ahead::Work,
        (false, true) => Ahead::Traces,
        (false, false) => Ahead::Nothing,
    })
}

/// What would be set aside, in words, where anything is dated ahead, each with how often.
///
/// # Errors
/// A failing statement.
pub fn owed(
    connection: &Connection,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Vec<(&'static str, u32)>, StoreError> {
    let mut owed = Vec::new();
    if ahead(connection, today, now)? == Ahead::Nothing {
        return Ok(owed);
    }
    for (what, table, which) in AHEAD.into_iter().filter(|(what, ..)| !what.is_empty()) {
        let which = filled(which, today, now);
        let sql = format!("SELECT count(*) FROM {table} WHERE {which}");
        let count: u32 = connection.query_row(&sql, [], |row| row.get(0))?;
        owed.extend((count > 0).then_some((what, count)));
    }
    Ok(owed)
}

/// Sets everything aside that is dated ahead, in the journal too, and gives it in words, each with how often.
///
/// # Errors
/// A failing statement, or a journal that cannot be read or written.
pub fn set_aside(
    connection: &Connection,
    journal: &Path,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Vec<(&'static str, u32)>, JournalError> {
    if ahead(connection, today, now)? == Ahead::Nothing {
        return Ok(Vec::new());
    }
    let done = owed(connection, today, now)?;
    for (_, table, which) in AHEAD {
        move_rows(connection, table, &filled(which, today, now), now)?;
    }
    for (table, columns) in INSTANTS {
        for column in columns {
            let sql = format!("UPDATE {table} SET {column} = ?1 WHERE {column} > ?2");
            let key = params![now.timestamp(), (now + SLACK).timestamp()];
            connection.execute(&sql, key)?;
        }
    }
    for table in ["outbox", "mail_trouble"] {
        let sql = format!("UPDATE {table} SET next_try_at = ?1 WHERE next_try_at > ?2");
        let key = params![now.timestamp(), (now + LONGEST_WAIT).timestamp()];
        connection.execute(&sql, key)?;
    }
    journal::set_aside(journal, today, now)?;
    Ok(done)
}

/// A day and a number need no quoting.
fn filled(which: &str, today: NaiveDate, now: DateTime<Utc>) -> String {
    let latest = (now + SLACK).timestamp();
    which
        .replace(":today", &format!("'{today}'"))
        .replace(":now", &latest.to_string())
}

fn move_rows(
    connection: &Connection,
    table: &str,
    which: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let columns = connection.query_row(
        "SELECT group_concat(printf('''%s'', \"%w\"', name, name)) FROM pragma_table_info(?1)
         WHERE type != 'BLOB'",
        [table],
        |row| row.get::<_, String>(0),
    )?;
    let keep = format!(
        "INSERT INTO set_aside (at, record, content)
         SELECT ?1, '{table}', json_object({columns}) FROM {table} WHERE {which}"
    );
    connection.execute(&keep, [now.timestamp()])?;
    connection.execute(&format!("DELETE FROM {table} WHERE {which}"), [])?;
    Ok(())
}

#[cfg(test)]
mod tests;
