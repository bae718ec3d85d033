//! The outbox as the rule of the queue sees it.

use chrono::TimeDelta;
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{AwaitedDigest, InHand, Queue, QueuedMail};
use rusqlite::{Connection, OptionalExtension, Row, ToSql};

use crate::store::{StoreError, day, instant, parsed, text};

const COLUMNS: &str = "message_id, kind, person, adviser, day, about, state, queued_at, hold_s, held_at, held_by,
  released_at, released_by, touched, composed, attempts, first_try_at, next_try_at, doubtful, unknown_since,
  last_error, sent_at";

/// The mails that wait, and whether the way to all recipients fails.
///
/// # Errors
/// A failing statement.
pub fn read_queue(connection: &Connection) -> Result<Queue, StoreError> {
    let waiting = mails(connection, "state = 'queued' ORDER BY place", &[])?;
    let no_way_until: Option<i64> = connection
        .prepare_cached("SELECT next_try_at FROM mail_trouble")?
        .query_row([], |row| row.get(0))
        .optional()?;
    Ok(Queue::new(waiting, no_way_until.map(instant).transpose()?))
}

/// The mails of the outbox that a condition means, with the digests that each waits for.
pub(in crate::store) fn mails(
    connection: &Connection,
    which: &str,
    values: &[&dyn ToSql],
) -> Result<Vec<QueuedMail>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM outbox WHERE {which}");
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query(values)?;
    let mut mails = Vec::new();
    while let Some(row) = rows.next()? {
        let mail = read(row)?;
        mails.push(QueuedMail {
            waits_for: awaited(connection, &mail.message_id)?,
            ..mail
        });
    }
    Ok(mails)
}

fn read(row: &Row<'_>) -> Result<QueuedMail, StoreError> {
    let at = |column: &str| -> Result<_, StoreError> {
        row.get::<_, Option<i64>>(column)?.map(instant).transpose()
    };
    Ok(QueuedMail {
        message_id: row.get("message_id")?,
        kind: parsed("kind", text(row, "kind")?)?,
        person: parsed("person", text(row, "person")?)?,
        adviser: adviser(text(row, "adviser")?)?,
        day: day(text(row, "day")?)?,
        about: row.get("about")?,
        state: parsed("state", text(row, "state")?)?,
        queued_at: instant(row.get("queued_at")?)?,
        waits_for: Vec::new(),
        hold: TimeDelta::seconds(row.get("hold_s")?),
        in_hand: in_hand(row)?,
        touched: row.get("touched")?,
        composed: row.get("composed")?,
        attempts: row.get("attempts")?,
        first_try: at("first_try_at")?,
        next_try: instant(row.get("next_try_at")?)?,
        doubtful: row.get("doubtful")?,
        unknown_since: at("unknown_since")?,
        error: row.get("last_error")?,
        sent_at: at("sent_at")?,
    })
}

fn in_hand(row: &Row<'_>) -> Result<InHand, StoreError> {
    let by = |column: &str| Ok::<_, StoreError>(row.get::<_, Option<String>>(column)?);
    let [held, released] = [row.get("held_at")?, row.get("released_at")?].map(|at: Option<i64>| at);
    Ok(match (held, released) {
        (Some(since), _) => InHand::Held {
            since: instant(since)?,
            by: by("held_by")?.unwrap_or_default(),
        },
        (None, Some(since)) => InHand::Released {
            since: instant(since)?,
            by: by("released_by")?.unwrap_or_default(),
        },
        (None, None) => InHand::Nobody,
    })
}

fn awaited(connection: &Connection, mail: &str) -> Result<Vec<AwaitedDigest>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT digest.message_id, digest.adviser, iif(digest.state = 'sent', digest.sent_at, NULL) AS sent_at
         FROM outbox_wait AS wait JOIN outbox AS digest ON digest.message_id = wait.digest
         WHERE wait.mail = ?1",
    )?;
    let mut rows = statement.query([mail])?;
    let mut digests = Vec::new();
    while let Some(row) = rows.next()? {
        digests.push(AwaitedDigest {
            message_id: row.get("message_id")?,
            adviser: adviser(text(row, "adviser")?)?,
            sent_at: row
                .get::<_, Option<i64>>("sent_at")?
                .map(instant)
                .transpose()?,
        });
    }
    Ok(digests)
}

/// An adviser as stored: empty where a mail is about the blocks of several.
fn adviser(text: &str) -> Result<Option<PersonId>, StoreError> {
    match text {
        "" => Ok(None),
        id => parsed("adviser", id).map(Some),
    }
}
