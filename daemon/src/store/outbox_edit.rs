//! Looking at the outbox and changing it by hand.

use chrono::{DateTime, Utc};
use rusqlite::{Connection, params};

use super::{StoreError, instant};

/// A mail in the outbox, without its body.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Message-ID without its brackets.
    pub id: String,
    /// Civil day of telling.
    pub day: String,
    /// The kind of mail.
    pub kind: String,
    /// The recipient's id.
    pub person: String,
    /// `queued`, `sent`, `failed`, `expired` or `folded`.
    pub state: String,
    /// Tries so far.
    pub attempts: u32,
    /// When it is tried next, while it is queued.
    pub next_try: DateTime<Utc>,
    /// Why the last try failed.
    pub error: Option<String>,
}

/// Mails that are not sent, or all of them, oldest first.
///
/// # Errors
/// A failing statement.
pub fn list(connection: &Connection, sent_too: bool) -> Result<Vec<Listed>, StoreError> {
    let mut statement = connection.prepare(
        "SELECT trim(message_id, '<>'), day, kind, person, state, attempts, next_try_at, last_error
         FROM outbox WHERE state != 'sent' OR ?1 ORDER BY rowid",
    )?;
    let rows = statement.query_map([sent_too], |row| {
        Ok((
            row.get::<_, i64>(6)?,
            Listed {
                id: row.get(0)?,
                day: row.get(1)?,
                kind: row.get(2)?,
                person: row.get(3)?,
                state: row.get(4)?,
                attempts: row.get(5)?,
                next_try: DateTime::UNIX_EPOCH,
                error: row.get(7)?,
            },
        ))
    })?;
    rows.map(|row| {
        let (next_try, listed) = row?;
        Ok(Listed {
            next_try: instant(next_try)?,
            ..listed
        })
    })
    .collect()
}

/// Queues a mail that is waiting, failed or expired for a try at once, as if it were new; gives
/// whether there is such a mail. What a folded one told stands in a later mail.
///
/// # Errors
/// A failing statement.
pub fn retry(connection: &Connection, id: &str, now: DateTime<Utc>) -> Result<bool, StoreError> {
    let changed = connection.execute(
        "UPDATE outbox SET state = 'queued', refusals = 0, first_try_at = NULL, next_try_at = ?2,
           given_up_at = NULL
         WHERE trim(message_id, '<>') = ?1 AND state NOT IN ('sent', 'folded')",
        params![id, now.timestamp()],
    )?;
    Ok(changed > 0)
}

/// Gives up a mail that is waiting; what it told counts as untold. Gives whether there is such a
/// mail.
///
/// # Errors
/// A failing statement.
pub fn give_up(connection: &Connection, id: &str, now: DateTime<Utc>) -> Result<bool, StoreError> {
    let changed = connection.execute(
        "UPDATE outbox SET state = 'failed', last_error = 'dropped by hand', given_up_at = ?2
         WHERE trim(message_id, '<>') = ?1 AND state = 'queued'",
        params![id, now.timestamp()],
    )?;
    Ok(changed > 0)
}

/// How a mail stands, and the last words on it: of the server that took it, or why it waits.
///
/// # Errors
/// A failing statement, also when there is no such mail.
pub fn words_on(connection: &Connection, message_id: &str) -> Result<(String, String), StoreError> {
    let words = connection.query_row(
        "SELECT state, coalesce(answer, last_error, 'behind older mails') FROM outbox WHERE message_id = ?1",
        [message_id],
        |row| Ok((row.get(0)?, row.get(1)?)),
    )?;
    Ok(words)
}
