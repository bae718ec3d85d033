//! What mails say: their contents and bytes, apart from the outbox, so that no walk of it reads them.

use chrono::{DateTime, Utc};
use duskflight_core::ledger::MailIdentity;
use rusqlite::{Connection, OptionalExtension, params};

use crate::store::StoreError;

/// A mail that waits for its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToCompose {
    /// Its place in the outbox.
    pub place: i64,
    /// Message-ID header.
    pub message_id: String,
    /// What it is composed from, as JSON.
    pub contents: String,
}

/// The oldest mail after a place in the outbox that waits for its bytes and can be composed.
///
/// # Errors
/// A failing statement.
pub fn to_compose(connection: &Connection, after: i64) -> Result<Option<ToCompose>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT place, message_id, contents FROM outbox JOIN mail_content USING (message_id)
         WHERE state = 'queued' AND composed = 0 AND contents IS NOT NULL AND place > ?1
         ORDER BY place LIMIT 1",
    )?;
    let mut rows = statement.query([after])?;
    let Some(row) = rows.next()? else {
        return Ok(None);
    };
    Ok(Some(ToCompose {
        place: row.get("place")?,
        message_id: row.get("message_id")?,
        contents: row.get("contents")?,
    }))
}

/// Sets the bytes of a mail that has none, which are frozen from then on; gives whether there is such a mail.
///
/// # Errors
/// A failing statement.
pub fn freeze(connection: &Connection, message_id: &str, body: &[u8]) -> Result<bool, StoreError> {
    let changed = connection
        .prepare_cached(
            "UPDATE outbox SET composed = 1 WHERE message_id = ?1 AND composed = 0 AND state = 'queued'",
        )?
        .execute([message_id])?;
    if changed == 0 {
        return Ok(false);
    }
    set(connection, "body", message_id, &body)?;
    Ok(true)
}

/// Replaces what a mail says.
pub(in crate::store) fn rewrite(
    connection: &Connection,
    message_id: &str,
    body: &[u8],
    contents: &str,
) -> Result<(), StoreError> {
    set(connection, "body", message_id, &body)?;
    set(connection, "contents", message_id, &contents)
}

fn set(
    connection: &Connection,
    column: &'static str,
    message_id: &str,
    value: &dyn rusqlite::ToSql,
) -> Result<(), StoreError> {
    let sql = format!("UPDATE mail_content SET {column} = ?2 WHERE message_id = ?1");
    connection
        .prepare_cached(&sql)?
        .execute(params![message_id, value])?;
    Ok(())
}

/// What a mail is composed from, where it can be composed anew.
pub(in crate::store) fn contents_of(
    connection: &Connection,
    message_id: &str,
) -> Result<Option<String>, StoreError> {
    let contents: Option<Option<String>> = connection
        .prepare_cached("SELECT contents FROM mail_content WHERE message_id = ?1")?
        .query_row([message_id], |row| row.get(0))
        .optional()?;
    Ok(contents.flatten())
}

/// What the mail of an identity is composed from.
///
/// # Errors
/// A failing statement.
pub fn contents_of_identity(
    connection: &Connection,
    mail: &MailIdentity,
) -> Result<Option<String>, StoreError> {
    let id: Option<String> = connection
        .prepare_cached(
            "SELECT message_id FROM outbox WHERE kind = ?1 AND person = ?2 AND adviser = ?3 AND day = ?4 AND about = ?5",
        )?
        .query_row(
            params![
                mail.kind.name(),
                mail.person.as_str(),
                mail.adviser.as_ref().map_or("", |adviser| adviser.as_str()),
                mail.day.to_string(),
                mail.about,
            ],
            |row| row.get(0),
        )
        .optional()?;
    id.map_or(Ok(None), |id| contents_of(connection, &id))
}

/// Removes what mails said that were accepted or given up before an instant, of so many at most, and tells of how
/// many. It goes through the mails that are kept, not through the outbox.
pub(in crate::store) fn prune(
    connection: &Connection,
    before: DateTime<Utc>,
    most: u32,
) -> Result<usize, StoreError> {
    Ok(connection
        .prepare_cached(
            "DELETE FROM mail_content WHERE rowid IN (
               SELECT kept.rowid FROM mail_content AS kept CROSS JOIN outbox AS mail
                 ON mail.message_id = kept.message_id
               WHERE mail.state != 'queued' AND coalesce(mail.sent_at, mail.given_up_at) < ?1 LIMIT ?2)",
        )?
        .execute(params![before.timestamp(), most])?)
}
