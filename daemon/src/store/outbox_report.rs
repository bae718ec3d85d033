//! How the mails fare: what waits and why, what was given up, what people were told late.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use duskflight_core::contents::MailsSent;
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailKind, MailState, QueuedMail};
use rusqlite::{Connection, OptionalExtension, params};

use super::{StoreError, day, instant, outbox, parsed, text};

/// Whether a mail is about the blocks of the adviser `?2`; one about those of several waits for their digests.
pub(super) const CONCERNS: &str = "(adviser = ?2 OR adviser = '' AND EXISTS (
  SELECT 1 FROM outbox_wait AS wait JOIN outbox AS digest ON digest.message_id = wait.digest
  WHERE wait.mail = outbox.message_id AND digest.adviser = ?2))";
/// Whether a mail was given up and certainly not taken.
const GIVEN_UP: &str = "state IN ('failed', 'expired')";
/// Whether nobody knows if a mail was taken.
const UNKNOWN: &str = "unknown_since IS NOT NULL AND state IN ('queued', 'unknown')";
/// So many mails given up are shown at most, the newest ones.
const SHOWN: u32 = 20;

/// Where the outbox stands.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Standing {
    /// Mails waiting.
    pub queued: u32,
    /// When the oldest of them was queued that does not wait for a release.
    pub oldest: Option<DateTime<Utc>>,
    /// Mails sent.
    pub sent: u32,
    /// When the last one was.
    pub last_sent: Option<DateTime<Utc>>,
    /// Mails refused for good.
    pub failed: u32,
    /// Mails tried for too long.
    pub expired: u32,
    /// Errors of mails that wait after a failed try.
    pub errors: Vec<String>,
    /// The newest mails given up, newest first.
    pub given_up: Vec<GivenUp>,
    /// The newest mails of which nobody knows whether they were taken, newest first.
    pub unknown: Vec<GivenUp>,
    /// What holds up every mail.
    pub trouble: Option<Trouble>,
}

/// A mail that was given up, or of which nobody knows whether it was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GivenUp {
    /// What became of it.
    pub state: MailState,
    /// What it was.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// Its subject.
    pub subject: String,
    /// Why.
    pub reason: String,
}

/// What holds up every mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// When the first failure in a row was.
    pub since: DateTime<Utc>,
    /// Failures in a row.
    pub failures: u32,
    /// No mail is tried before.
    pub next_try: DateTime<Utc>,
    /// What happened last.
    pub error: String,
    /// What to mend; `None` when it may pass by itself.
    pub advice: Option<String>,
}

/// Where the outbox stands.
///
/// # Errors
/// A failing statement.
pub fn standing(connection: &Connection) -> Result<Standing, StoreError> {
    let counts = counts(connection)?;
    let count = |state| counts.get(&state).copied().unwrap_or_default();
    let last_sent: Option<i64> = connection.query_row(
        "SELECT max(sent_at) FROM outbox WHERE state = 'sent'",
        [],
        |row| row.get(0),
    )?;
    let trouble = trouble(connection)?;
    Ok(Standing {
        queued: count(MailState::Queued),
        oldest: outbox::read_queue(connection)?.oldest(),
        sent: count(MailState::Sent),
        last_sent: last_sent.map(instant).transpose()?,
        failed: count(MailState::Failed),
        expired: count(MailState::Expired),
        errors: errors(connection, trouble.as_ref())?,
        given_up: given_up(
            connection,
            &format!("{GIVEN_UP} ORDER BY given_up_at DESC, place DESC LIMIT ?1"),
            params![SHOWN],
        )?,
        unknown: given_up(
            connection,
            &format!("{UNKNOWN} ORDER BY unknown_since DESC, place DESC LIMIT ?1"),
            params![SHOWN],
        )?,
        trouble,
    })
}

/// What was told to a person between two civil days: mails sent, by kind, and mails given up; receipts and tests tell
/// nothing.
///
/// # Errors
/// A failing statement.
pub fn sent_to(
    connection: &Connection,
    person: &PersonId,
    [first, last]: [NaiveDate; 2],
) -> Result<MailsSent, StoreError> {
    let mut statement = connection.prepare(
        "SELECT kind, state, count(*) AS mails FROM outbox
         WHERE person = ?1 AND day BETWEEN ?2 AND ?3 AND state IN ('sent', 'failed', 'expired')
         GROUP BY kind, state ORDER BY kind, state",
    )?;
    let of = params![person.as_str(), first.to_string(), last.to_string()];
    let mut rows = statement.query(of)?;
    let mut mails = MailsSent::default();
    while let Some(row) = rows.next()? {
        let kind: MailKind = parsed("kind", text(row, "kind")?)?;
        let count = row.get("mails")?;
        match text(row, "state")? {
            _ if kind.tells_nothing() => {}
            "sent" => mails.sent.push((kind, count)),
            _ => mails.given_up += count,
        }
    }
    Ok(mails)
}

/// Errors of mails that wait after a failed try, but for what the trouble says already. A try of unknown outcome did
/// not fail.
///
/// # Errors
/// A failing statement.
pub fn errors(
    connection: &Connection,
    trouble: Option<&Trouble>,
) -> Result<Vec<String>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT DISTINCT last_error FROM outbox WHERE state = 'queued' AND last_error IS NOT NULL
           AND unknown_since IS NULL",
    )?;
    let errors = statement.query_map([], |row| row.get(0))?;
    let mut errors: Vec<String> = errors.collect::<Result<_, _>>()?;
    errors.retain(|error| trouble.is_none_or(|trouble| trouble.error != *error));
    Ok(errors)
}

fn counts(connection: &Connection) -> Result<BTreeMap<MailState, u32>, StoreError> {
    let mut statement =
        connection.prepare("SELECT state, count(*) AS mails FROM outbox GROUP BY state")?;
    let mut rows = statement.query([])?;
    let mut counts = BTreeMap::new();
    while let Some(row) = rows.next()? {
        counts.insert(parsed("state", text(row, "state")?)?, row.get("mails")?);
    }
    Ok(counts)
}

/// Mails about an adviser's blocks that were given up at or after an instant, oldest first.
///
/// # Errors
/// A failing statement.
pub fn given_up_since(
    connection: &Connection,
    adviser: &str,
    since: DateTime<Utc>,
) -> Result<Vec<GivenUp>, StoreError> {
    given_up(
        connection,
        &format!("{GIVEN_UP} AND given_up_at >= ?1 AND {CONCERNS} ORDER BY given_up_at, place"),
        params![since.timestamp(), adviser],
    )
}

/// Mails about an adviser's blocks of which we know since an instant or later that we do not know whether they were
/// taken, and did not hear since, oldest first.
///
/// # Errors
/// A failing statement.
pub fn unknown_since(
    connection: &Connection,
    adviser: &str,
    since: DateTime<Utc>,
) -> Result<Vec<GivenUp>, StoreError> {
    given_up(
        connection,
        &format!("{UNKNOWN} AND unknown_since >= ?1 AND {CONCERNS} ORDER BY unknown_since, place"),
        params![since.timestamp(), adviser],
    )
}

fn given_up(
    connection: &Connection,
    which: &str,
    values: &[&dyn rusqlite::ToSql],
) -> Result<Vec<GivenUp>, StoreError> {
    let sql = format!(
        "SELECT state, kind, person, day, subject, coalesce(last_error, '') AS reason FROM outbox
         WHERE {which}"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query(values)?;
    let mut mails = Vec::new();
    while let Some(row) = rows.next()? {
        mails.push(GivenUp {
            state: parsed("state", text(row, "state")?)?,
            kind: parsed("kind", text(row, "kind")?)?,
            person: parsed("person", text(row, "person")?)?,
            day: day(text(row, "day")?)?,
            subject: row.get("subject")?,
            reason: row.get("reason")?,
        });
    }
    Ok(mails)
}

/// Mails about an adviser's blocks that were sent at or after an instant and `slack` later than they
/// had to be, oldest first; not those that somebody had in hand.
///
/// # Errors
/// A failing statement.
pub fn late_since(
    connection: &Connection,
    adviser: &str,
    since: DateTime<Utc>,
    slack: TimeDelta,
) -> Result<Vec<QueuedMail>, StoreError> {
    let mut mails = outbox::mails(
        connection,
        &format!("state = 'sent' AND sent_at >= ?1 AND {CONCERNS} ORDER BY sent_at, place"),
        params![since.timestamp(), adviser],
    )?;
    mails.retain(|mail| mail.was_late(slack));
    Ok(mails)
}

/// What holds up every mail.
///
/// # Errors
/// A failing statement.
pub fn trouble(connection: &Connection) -> Result<Option<Trouble>, StoreError> {
    connection
        .prepare_cached("SELECT since, failures, next_try_at, error, advice FROM mail_trouble")?
        .query_row([], |row| {
            Ok((
                row.get::<_, i64>(0)?,
                row.get(1)?,
                row.get::<_, i64>(2)?,
                row.get(3)?,
                row.get(4)?,
            ))
        })
        .optional()?
        .map(|(since, failures, next_try, error, advice)| {
            Ok(Trouble {
                since: instant(since)?,
                failures,
                next_try: instant(next_try)?,
                error,
                advice,
            })
        })
        .transpose()
}

/// Whether the way to all recipients is open and all digests of a civil day were accepted, as far as there are any.
///
/// # Errors
/// A failing statement.
pub fn digests_accepted(connection: &Connection, day: NaiveDate) -> Result<bool, StoreError> {
    let accepted = connection
        .prepare_cached(
            "SELECT NOT EXISTS (SELECT 1 FROM mail_trouble)
               AND NOT EXISTS (SELECT 1 FROM outbox WHERE day = ?1 AND kind = 'digest' AND state != 'sent')",
        )?
        .query_row([day.to_string()], |row| row.get(0))?;
    Ok(accepted)
}

/// Notes what holds up every mail, in place of what did before.
///
/// # Errors
/// A failing statement.
pub fn set_trouble(connection: &Connection, trouble: &Trouble) -> Result<(), StoreError> {
    connection
        .prepare_cached("INSERT OR REPLACE INTO mail_trouble VALUES (1, ?1, ?2, ?3, ?4, ?5)")?
        .execute(params![
            trouble.since.timestamp(),
            trouble.failures,
            trouble.next_try.timestamp(),
            trouble.error,
            trouble.advice,
        ])?;
    Ok(())
}

/// Lets the next mail be tried at once, whatever held it up.
///
/// # Errors
/// A failing statement.
pub fn try_at_once(connection: &Connection) -> Result<(), StoreError> {
    connection
        .prepare_cached("UPDATE mail_trouble SET next_try_at = 0")?
        .execute([])?;
    Ok(())
}

/// Notes that the way to all recipients is open.
///
/// # Errors
/// A failing statement.
pub fn clear_trouble(connection: &Connection) -> Result<(), StoreError> {
    connection
        .prepare_cached("DELETE FROM mail_trouble")?
        .execute([])?;
    Ok(())
}

/// A mail in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// Its subject.
    pub subject: String,
}

/// The mails of a civil day that tell of an event.
///
/// # Errors
/// A failing statement.
pub fn with_news(connection: &Connection, on: NaiveDate) -> Result<Vec<Line>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT kind, person, subject FROM outbox
         WHERE day = ?1 AND EXISTS (SELECT 1 FROM told WHERE mail = message_id) ORDER BY place",
    )?;
    let mut rows = statement.query([on.to_string()])?;
    let mut lines = Vec::new();
    while let Some(row) = rows.next()? {
        lines.push(Line {
            kind: parsed("kind", text(row, "kind")?)?,
            person: parsed("person", text(row, "person")?)?,
            subject: row.get("subject")?,
        });
    }
    Ok(lines)
}
