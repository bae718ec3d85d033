//! Answers to our mails: each taken once, how far mailboxes were looked through, what was left alone.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::{PersonId, TrapId};
use duskflight_core::ledger::MailKind;
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::{StoreError, day, parsed, text};

/// The bytes that marks of our mails are made with.
///
/// # Errors
/// A failing statement.
pub fn mark_key(connection: &Connection) -> Result<Vec<u8>, StoreError> {
    Ok(connection.query_row("SELECT key FROM mark_key", [], |row| row.get(0))?)
}

/// Has marks made with other bytes. Answers to mails that were sent before count no more.
///
/// # Errors
/// A failing statement.
pub fn set_mark_key(connection: &Connection, key: &[u8; 32]) -> Result<(), StoreError> {
    connection.execute("UPDATE mark_key SET key = ?1", [key])?;
    Ok(())
}

/// An answer that counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptAnswer {
    /// Its short name, with which the ids of its entries begin.
    pub id: String,
    /// Its Message-ID, where it has a usable one.
    pub message_id: Option<String>,
    /// Who wrote it.
    pub person: PersonId,
    /// The kind of the mail that it answers.
    pub kind: MailKind,
    /// The civil day of that mail.
    pub day: NaiveDate,
    /// Which one of that kind and day.
    pub which: String,
    /// The civil day on which it was sent.
    pub sent_on: NaiveDate,
    /// Lines that wait for a word, with what they say, as JSON.
    pub asked: Option<String>,
    /// What its receipt says, as JSON, until it has one.
    pub said: Option<String>,
}

/// Whether an answer was taken before.
///
/// # Errors
/// A failing statement.
pub fn is_taken(connection: &Connection, id: &str) -> Result<bool, StoreError> {
    let sql = "SELECT EXISTS (SELECT 1 FROM answer WHERE id = ?1)";
    Ok(connection
        .prepare_cached(sql)?
        .query_row([id], |row| row.get(0))?)
}

/// Keeps an answer that is taken now.
///
/// # Errors
/// A failing statement, such as one that was taken before.
pub fn keep(
    connection: &Connection,
    answer: &KeptAnswer,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "INSERT INTO answer (id, message_id, person, kind, day, which, sent_on, taken_at, asked, said)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        )?
        .execute(params![
            answer.id,
            answer.message_id,
            answer.person.as_str(),
            answer.kind.name(),
            answer.day.to_string(),
            answer.which,
            answer.sent_on.to_string(),
            now.timestamp(),
            answer.asked,
            answer.said,
        ])?;
    Ok(())
}

const COLUMNS: &str = "id, message_id, person, kind, day, which, sent_on, asked, said";

fn read(row: &Row<'_>) -> Result<KeptAnswer, StoreError> {
    Ok(KeptAnswer {
        id: row.get("id")?,
        message_id: row.get("message_id")?,
        person: parsed("person", text(row, "person")?)?,
        kind: parsed("kind", text(row, "kind")?)?,
        day: day(text(row, "day")?)?,
        which: row.get("which")?,
        sent_on: day(text(row, "sent_on")?)?,
        asked: row.get("asked")?,
        said: row.get("said")?,
    })
}

/// Answers that have no receipt yet, oldest first.
///
/// # Errors
/// A failing statement.
pub fn without_receipt(connection: &Connection) -> Result<Vec<KeptAnswer>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM answer WHERE said IS NOT NULL ORDER BY place");
    let mut statement = connection.prepare_cached(&sql)?;
    let rows = statement.query_map([], |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

/// Notes that some answers have a receipt.
///
/// # Errors
/// A failing statement.
pub fn have_receipt(
    connection: &Connection,
    ids: &[String],
    receipt: &str,
) -> Result<(), StoreError> {
    let mut statement =
        connection.prepare_cached("UPDATE answer SET said = NULL, receipt = ?2 WHERE id = ?1")?;
    for id in ids {
        statement.execute([id, receipt])?;
    }
    Ok(())
}

/// Short names of a person's answers sent in a stretch of days that no receipt is known of, oldest first.
///
/// # Errors
/// A failing statement.
pub fn untold(
    connection: &Connection,
    person: &PersonId,
    (from, to): (NaiveDate, NaiveDate),
) -> Result<Vec<String>, StoreError> {
    let sql = "SELECT id FROM answer WHERE person = ?1 AND sent_on BETWEEN ?2 AND ?3 AND said IS NULL AND receipt IS NULL
               ORDER BY place";
    let mut statement = connection.prepare_cached(sql)?;
    let days = [from, to].map(|day| day.to_string());
    let rows = statement.query_map(params![person.as_str(), days[0], days[1]], |row| row.get(0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The answers that a receipt stands for, oldest first.
///
/// # Errors
/// A failing statement.
pub fn of_receipt(
    connection: &Connection,
    person: &PersonId,
    receipt: &str,
) -> Result<Vec<KeptAnswer>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM answer WHERE person = ?1 AND receipt = ?2 AND undone_at IS NULL ORDER BY place"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let rows = statement.query_map([person.as_str(), receipt], |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

/// A person's newest answer to a mail that was not taken back.
///
/// # Errors
/// A failing statement.
pub fn newest_to(
    connection: &Connection,
    person: &PersonId,
    (kind, on, which): (MailKind, NaiveDate, &str),
) -> Result<Option<KeptAnswer>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM answer WHERE person = ?1 AND kind = ?2 AND day = ?3 AND which = ?4
           AND undone_at IS NULL ORDER BY place DESC LIMIT 1"
    );
    connection
        .prepare_cached(&sql)?
        .query_row(
            params![person.as_str(), kind.name(), on.to_string(), which],
            |row| Ok(read(row)),
        )
        .optional()?
        .transpose()
}

/// Some answers and all that were sent to what told of them, in the order in which they were taken.
///
/// # Errors
/// A failing statement.
pub fn with_followers(
    connection: &Connection,
    of: &[KeptAnswer],
) -> Result<Vec<KeptAnswer>, StoreError> {
    let ids: Vec<&str> = of.iter().map(|answer| answer.id.as_str()).collect();
    let sql = format!(
        "WITH RECURSIVE came (id) AS (
           SELECT value FROM json_each(?1)
           UNION SELECT next.id FROM came JOIN answer told ON told.id = came.id
             JOIN answer next ON next.person = told.person AND next.which = told.receipt AND next.kind = ?2)
         SELECT {COLUMNS} FROM answer WHERE id IN (SELECT id FROM came) AND undone_at IS NULL ORDER BY place"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let (ids, kind) = (serde_json::json!(ids).to_string(), MailKind::Receipt.name());
    let rows = statement.query_map(params![ids, kind], |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

/// Notes that an answer was taken back.
///
/// # Errors
/// A failing statement.
pub fn undo(connection: &Connection, id: &str, now: DateTime<Utc>) -> Result<(), StoreError> {
    let sql = "UPDATE answer SET undone_at = ?2, asked = NULL WHERE id = ?1";
    connection
        .prepare_cached(sql)?
        .execute(params![id, now.timestamp()])?;
    Ok(())
}

/// Notes that nothing of an answer waits for a word any more.
///
/// # Errors
/// A failing statement.
pub fn is_answered(connection: &Connection, id: &str) -> Result<(), StoreError> {
    connection
        .prepare_cached("UPDATE answer SET asked = NULL WHERE id = ?1")?
        .execute([id])?;
    Ok(())
}

/// How far a folder of a mailbox was looked through: UIDVALIDITY and highest UID.
///
/// # Errors
/// A failing statement.
pub fn taken_up_to(
    connection: &Connection,
    folder: &str,
) -> Result<Option<(u32, u32)>, StoreError> {
    let sql = "SELECT validity, uid FROM inbox_place WHERE folder = ?1";
    let found = connection
        .prepare_cached(sql)?
        .query_row([folder], |row| Ok((row.get(0)?, row.get(1)?)));
    Ok(found.optional()?)
}

/// Notes that a folder was looked through up to a UID.
///
/// # Errors
/// A failing statement.
pub fn looked_through(
    connection: &Connection,
    folder: &str,
    (validity, uid): (u32, u32),
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "INSERT INTO inbox_place VALUES (?1, ?2, ?3) ON CONFLICT (folder) DO UPDATE
             SET uid = CASE validity WHEN ?2 THEN max(uid, ?3) ELSE ?3 END, validity = ?2",
        )?
        .execute(params![folder, validity, uid])?;
    Ok(())
}

/// Notes that a message was left alone; gives whether it was new.
///
/// # Errors
/// A failing statement.
pub fn leave(
    connection: &Connection,
    id: &str,
    on: NaiveDate,
    why: &str,
) -> Result<bool, StoreError> {
    let sql = "INSERT OR IGNORE INTO message_left VALUES (?1, ?2, ?3)";
    let new = connection
        .prepare_cached(sql)?
        .execute(params![id, on.to_string(), why])?;
    Ok(new > 0)
}

/// How many messages were left alone in a stretch of days that ends before one, by why.
///
/// # Errors
/// A failing statement.
pub fn left_between(
    connection: &Connection,
    from: NaiveDate,
    before: NaiveDate,
) -> Result<Vec<(String, u32)>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT why, count(*) FROM message_left WHERE day >= ?1 AND day < ?2 GROUP BY why ORDER BY why",
    )?;
    let days = [from.to_string(), before.to_string()];
    let rows = statement.query_map(days, |row| Ok((row.get(0)?, row.get::<_, u32>(1)?)))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Forgets messages that were left alone before a day.
///
/// # Errors
/// A failing statement.
pub fn prune_left(connection: &Connection, before: NaiveDate) -> Result<usize, StoreError> {
    Ok(connection.execute(
        "DELETE FROM message_left WHERE day < ?1",
        [before.to_string()],
    )?)
}

/// Visits that stand as an answer entered them: trap and day.
///
/// # Errors
/// A failing statement.
pub fn visits_of(
    connection: &Connection,
    id: &str,
) -> Result<Vec<(TrapId, NaiveDate)>, StoreError> {
    let sql = "SELECT trap, day FROM visit WHERE entry_id >= ?1 || ':' AND entry_id < ?1 || ';' ORDER BY day, trap";
    let mut statement = connection.prepare_cached(sql)?;
    let rows = statement.query_map([id], |row| Ok((row.get(0)?, row.get(1)?)))?;
    rows.map(|row| {
        let (trap, date): (String, String) = row?;
        Ok((parsed("trap", &trap)?, day(&date)?))
    })
    .collect()
}

/// Notes that stand as an answer entered them: block, variety, kind and day.
///
/// # Errors
/// A failing statement.
pub fn notes_of(
    connection: &Connection,
    id: &str,
) -> Result<Vec<(String, String, String, NaiveDate)>, StoreError> {
    let sql = "SELECT block, variety, kind, day FROM note WHERE entry_id >= ?1 || ':' AND entry_id < ?1 || ';'";
    let mut statement = connection.prepare_cached(sql)?;
    let rows = statement.query_map([id], |row| {
        Ok((
            row.get(0)?,
            row.get(1)?,
            row.get(2)?,
            row.get::<_, String>(3)?,
        ))
    })?;
    rows.map(|row| {
        let (block, variety, kind, on): (String, String, String, String) = row?;
        Ok((block, variety, kind, day(&on)?))
    })
    .collect()
}
