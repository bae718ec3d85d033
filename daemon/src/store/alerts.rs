//! Growers' alerts that wait, the summaries that stand for several of them too, and what an adviser does to them
//! before they are tried.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailKind, MailState, Queue, QueuedMail};
use rusqlite::{Connection, OptionalExtension, params};

use super::{StoreError, day, instant, outbox, parsed, text};

/// A mail that an adviser may still change, by its Message-ID with or without brackets.
const UNTRIED: &str =
    "message_id IN (?1, '<' || ?1 || '>') AND kind IN ('alert', 'summary') AND state = 'queued'
  AND attempts = 0";

/// An alert that waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WaitingAlert {
    /// The mail.
    pub mail: QueuedMail,
    /// Its subject.
    pub subject: String,
    /// What it is composed from, as JSON; `None` where it cannot be composed anew.
    pub contents: Option<String>,
}

/// Alerts of a queue, oldest first.
///
/// # Errors
/// A failing statement.
pub fn waiting(connection: &Connection, queue: &Queue) -> Result<Vec<WaitingAlert>, StoreError> {
    let mut subject =
        connection.prepare_cached("SELECT subject FROM outbox WHERE message_id = ?1")?;
    let alerts = queue.mails().iter();
    let alerts = alerts.filter(|mail| matches!(mail.kind, MailKind::Alert | MailKind::Summary));
    alerts
        .map(|mail| {
            Ok(WaitingAlert {
                subject: subject.query_row([&mail.message_id], |row| row.get(0))?,
                contents: outbox::contents_of(connection, &mail.message_id)?,
                mail: mail.clone(),
            })
        })
        .collect()
}

/// An alert that waits no more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GoneAlert {
    /// The civil day of telling.
    pub day: NaiveDate,
    /// The recipient.
    pub person: PersonId,
    /// The adviser whose blocks it was about; `None` where it was about those of several.
    pub adviser: Option<PersonId>,
    /// The state it ended in.
    pub state: MailState,
    /// When it was sent or given up.
    pub at: Option<DateTime<Utc>>,
}

/// The newest alert to a person, or of a Message-ID with or without its brackets, that waits no more.
///
/// # Errors
/// A failing statement.
pub fn newest_gone(connection: &Connection, who: &str) -> Result<Option<GoneAlert>, StoreError> {
    let mut statement = connection.prepare(
        "SELECT day, person, state, nullif(adviser, '') AS adviser, coalesce(sent_at, given_up_at) AS at FROM outbox
         WHERE kind IN ('alert', 'summary') AND state != 'queued'
           AND (person = ?1 OR message_id IN (?1, '<' || ?1 || '>'))
         ORDER BY place DESC LIMIT 1",
    )?;
    let mut rows = statement.query([who])?;
    let Some(row) = rows.next()? else {
        return Ok(None);
    };
    Ok(Some(GoneAlert {
        day: day(text(row, "day")?)?,
        person: parsed("person", text(row, "person")?)?,
        adviser: row
            .get::<_, Option<String>>("adviser")?
            .map(|id| parsed("adviser", &id))
            .transpose()?,
        state: parsed("state", text(row, "state")?)?,
        at: row.get::<_, Option<i64>>("at")?.map(instant).transpose()?,
    }))
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
            "UPDATE outbox SET held_at = ?3, held_by = ?2, released_at = NULL, released_by = NULL WHERE {UNTRIED}"
        ),
        params![message_id, by, now.timestamp()],
    )?;
    Ok(changed > 0)
}

/// Lets an alert leave that was not tried yet, whatever it waited for. Gives whether there is such a one.
///
/// # Errors
/// A failing statement.
pub fn release(
    connection: &Connection,
    message_id: &str,
    by: &str,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let changed = connection.execute(
        &format!(
            "UPDATE outbox SET held_at = NULL, held_by = NULL, released_at = ?3, released_by = ?2 WHERE {UNTRIED}"
        ),
        params![message_id, by, now.timestamp()],
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
    let touched =
        format!("UPDATE outbox SET touched = 1, composed = 1 WHERE {UNTRIED} RETURNING message_id");
    let found: Option<String> = connection
        .query_row(&touched, [message_id], |row| row.get(0))
        .optional()?;
    if let Some(id) = &found {
        outbox::rewrite(connection, id, body, contents)?;
    }
    Ok(found.is_some())
}
