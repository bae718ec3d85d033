//! Growers' alerts that wait, the summaries that stand for several of them too, and what an adviser does to them
//! before they are tried.

use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::outbox::LONGEST_WAIT_S;
use super::{StoreError, day, instant};

/// A mail that an adviser may still change, by its Message-ID without brackets.
const UNTRIED: &str =
    "trim(message_id, '<>') = ?1 AND kind IN ('alert', 'summary') AND state = 'queued'
  AND attempts = 0";

/// An alert that waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WaitingAlert {
    /// Message-ID without its brackets.
    pub message_id: String,
    /// The recipient's id.
    pub person: String,
    /// The adviser's id; empty for a summary, which may be of several.
    pub adviser: String,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// Its subject.
    pub subject: String,
    /// What it is composed from, as JSON; a summary cannot be composed anew.
    pub contents: Option<String>,
    /// When it was tried first.
    pub tried: Option<DateTime<Utc>>,
    /// When it leaves.
    pub leaves: Leaves,
}

/// When an alert leaves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Leaves {
    /// Not before it is released.
    Held {
        /// Since when.
        since: DateTime<Utc>,
        /// By whom.
        by: String,
    },
    /// After an older mail to the same person.
    Behind {
        /// Its Message-ID without brackets.
        message_id: String,
    },
    /// Some time after its digests were sent, the last of which was not yet.
    AfterDigest {
        /// Seconds after it.
        hold_s: i64,
        /// When it leaves at the latest.
        latest: DateTime<Utc>,
    },
    /// At an instant.
    At(DateTime<Utc>),
}

/// Alerts that wait, oldest first.
///
/// # Errors
/// A failing statement.
pub fn waiting(connection: &Connection) -> Result<Vec<WaitingAlert>, StoreError> {
    let mut statement = connection.prepare(
        "SELECT trim(message_id, '<>'), person, adviser, day, subject, contents,
           CASE WHEN attempts > 0 THEN first_try_at END, held_at, held_by,
           (SELECT trim(older.message_id, '<>') FROM outbox AS older
            WHERE older.state = 'queued' AND older.person = mail.person AND older.rowid < mail.rowid
            ORDER BY older.rowid LIMIT 1),
           queued_at, hold_s, next_try_at,
           (SELECT count(*) FROM outbox_wait JOIN outbox AS digest ON digest.message_id = outbox_wait.digest
            WHERE mail = mail.message_id AND digest.state != 'sent'),
           (SELECT max(digest.sent_at) FROM outbox_wait JOIN outbox AS digest
              ON digest.message_id = outbox_wait.digest
            WHERE mail = mail.message_id)
         FROM outbox AS mail WHERE kind IN ('alert', 'summary') AND state = 'queued' ORDER BY rowid",
    )?;
    let rows = statement.query_map([], |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

fn read(row: &Row<'_>) -> Result<WaitingAlert, StoreError> {
    Ok(WaitingAlert {
        message_id: row.get(0)?,
        person: row.get(1)?,
        adviser: row.get(2)?,
        day: day(row.get_ref(3)?.as_str().map_err(rusqlite::Error::from)?)?,
        subject: row.get(4)?,
        contents: row.get(5)?,
        tried: row.get::<_, Option<i64>>(6)?.map(instant).transpose()?,
        leaves: leaves(row)?,
    })
}

/// The rules of [`super::outbox::next`], as an answer for people.
fn leaves(row: &Row<'_>) -> Result<Leaves, StoreError> {
    if let Some(since) = row.get::<_, Option<i64>>(7)? {
        let since = instant(since)?;
        let by: Option<String> = row.get(8)?;
        let by = by.unwrap_or_default();
        return Ok(Leaves::Held { since, by });
    }
    if let Some(message_id) = row.get(9)? {
        return Ok(Leaves::Behind { message_id });
    }
    let [queued_at, hold_s, next_try_at, unsent]: [i64; 4] =
        [row.get(10)?, row.get(11)?, row.get(12)?, row.get(13)?];
    let latest = queued_at + hold_s + LONGEST_WAIT_S;
    if unsent > 0 && latest > next_try_at {
        let latest = instant(latest)?;
        return Ok(Leaves::AfterDigest { hold_s, latest });
    }
    let after_digest = row.get::<_, Option<i64>>(14)?.map(|sent| sent + hold_s);
    let earliest = after_digest.map_or(latest.min(queued_at), |after| after.min(latest));
    Ok(Leaves::At(instant(earliest.max(next_try_at))?))
}

/// An alert that waits no more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GoneAlert {
    /// The civil day of telling.
    pub day: NaiveDate,
    /// The recipient's id.
    pub person: String,
    /// The state it ended in.
    pub state: String,
    /// When it was sent or given up.
    pub at: Option<DateTime<Utc>>,
}

/// The newest alert to a person, or of a Message-ID without its brackets, that waits no more.
///
/// # Errors
/// A failing statement.
pub fn newest_gone(connection: &Connection, who: &str) -> Result<Option<GoneAlert>, StoreError> {
    let gone = connection
        .prepare(
            "SELECT day, person, state, coalesce(sent_at, given_up_at) FROM outbox
             WHERE kind IN ('alert', 'summary') AND state != 'queued' AND (person = ?1 OR trim(message_id, '<>') = ?1)
             ORDER BY rowid DESC LIMIT 1",
        )?
        .query_row([who], |row| {
            let text = row.get::<_, String>(0)?;
            Ok((text, row.get(1)?, row.get(2)?, row.get::<_, Option<i64>>(3)?))
        })
        .optional()?;
    gone.map(|(on, person, state, at)| {
        Ok(GoneAlert {
            day: day(&on)?,
            person,
            state,
            at: at.map(instant).transpose()?,
        })
    })
    .transpose()
}

/// Holds an alert that was not tried yet; gives whether there is such a one.
///
/// # Errors
/// A failing statement.
pub fn hold(
    connection: &Connection,
    message_id: &str,
    by: &str,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let changed = connection.execute(
        &format!(
            "UPDATE outbox SET held_at = ?3, held_by = ?2
         WHERE {UNTRIED}"
        ),
        params![message_id, by, now.timestamp()],
    )?;
    Ok(changed > 0)
}

/// Lets an alert leave that was not tried yet, whatever it waited for: its longest wait counts as over since
/// it was queued. Gives whether there is such a one.
///
/// # Errors
/// A failing statement.
pub fn release(connection: &Connection, message_id: &str, by: &str) -> Result<bool, StoreError> {
    let changed = connection.execute(
        &format!(
            "UPDATE outbox SET held_at = NULL, held_by = ?2, hold_s = -?3
         WHERE {UNTRIED}"
        ),
        params![message_id, by, LONGEST_WAIT_S],
    )?;
    Ok(changed > 0)
}

/// Replaces what an alert says that was not tried yet; gives whether there is such a one.
///
/// # Errors
/// A failing statement.
pub fn rewrite(
    connection: &Connection,
    message_id: &str,
    body: &[u8],
    contents: &str,
) -> Result<bool, StoreError> {
    let changed = connection.execute(
        &format!(
            "UPDATE outbox SET body = ?2, contents = ?3
         WHERE {UNTRIED}"
        ),
        params![message_id, body, contents],
    )?;
    Ok(changed > 0)
}
