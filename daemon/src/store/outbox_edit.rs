//! Looking at the outbox and changing it by hand.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailKind, MailState};
use rusqlite::{Connection, params};

use super::{StoreError, day, instant, parsed, text};

/// A mail in the outbox, without its body.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Message-ID without its brackets.
    pub id: String,
    /// Civil day of telling.
    pub day: NaiveDate,
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// What became of it.
    pub state: MailState,
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
        "SELECT trim(message_id, '<>') AS id, day, kind, person, state, attempts, next_try_at, last_error
         FROM outbox WHERE state != 'sent' OR ?1 ORDER BY place",
    )?;
    let mut rows = statement.query([sent_too])?;
    let mut listed = Vec::new();
    while let Some(row) = rows.next()? {
        listed.push(Listed {
            id: row.get("id")?,
            day: day(text(row, "day")?)?,
            kind: parsed("kind", text(row, "kind")?)?,
            person: parsed("person", text(row, "person")?)?,
            state: parsed("state", text(row, "state")?)?,
            attempts: row.get("attempts")?,
            next_try: instant(row.get("next_try_at")?)?,
            error: row.get("last_error")?,
        });
    }
    Ok(listed)
}

/// Queues a mail that is waiting, failed, expired or of unknown outcome for a try at once, as if it were new; gives
/// whether there is such a mail. What a folded one told stands in a later mail, and what was given up long ago
/// is no longer kept.
///
/// # Errors
/// A failing statement.
pub fn retry(connection: &Connection, id: &str, now: DateTime<Utc>) -> Result<bool, StoreError> {
    let changed = connection.execute(
        "UPDATE outbox SET state = 'queued', refusals = 0, first_try_at = NULL, next_try_at = ?2,
           given_up_at = NULL, unknown_since = NULL
         WHERE message_id IN (?1, '<' || ?1 || '>') AND state NOT IN ('sent', 'folded')
           AND message_id IN (SELECT message_id FROM mail_content)",
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
         WHERE message_id IN (?1, '<' || ?1 || '>') AND state = 'queued'",
        params![id, now.timestamp()],
    )?;
    Ok(changed > 0)
}

/// How a mail stands, and the last words on it: of the server that took it, or why it waits.
///
/// # Errors
/// A failing statement, also when there is no such mail.
pub fn words_on(
    connection: &Connection,
    message_id: &str,
) -> Result<(MailState, String), StoreError> {
    let (state, words): (String, String) = connection.query_row(
        "SELECT state, coalesce(answer, last_error, 'behind older mails') FROM outbox WHERE message_id = ?1",
        [message_id],
        |row| Ok((row.get(0)?, row.get(1)?)),
    )?;
    Ok((parsed("state", &state)?, words))
}
