//! How the mails fare: what waits and why, what was given up, what people were told late.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::outbox::LONGEST_WAIT_S;
use super::{StoreError, day, instant};

/// Whether a mail is about the blocks of the adviser `?2`; one about those of several waits for their digests.
pub(super) const CONCERNS: &str = "(adviser = ?2 OR adviser = '' AND EXISTS (
  SELECT 1 FROM outbox_wait AS wait JOIN outbox AS digest ON digest.message_id = wait.digest
  WHERE wait.mail = outbox.message_id AND digest.adviser = ?2))";
/// So many mails given up are shown at most, the newest ones.
const SHOWN: u32 = 20;

/// Where the outbox stands.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Standing {
    /// Mails waiting.
    pub queued: u32,
    /// The oldest of them that neither is held nor waits behind a held one.
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
    /// What holds up every mail.
    pub trouble: Option<Trouble>,
}

/// A mail that was given up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GivenUp {
    /// `failed` or `expired`.
    pub state: String,
    /// `digest` or `alert`.
    pub kind: String,
    /// The recipient's id.
    pub person: String,
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
    let mut standing = counts(connection)?;
    let mut statement = connection.prepare(
        "SELECT DISTINCT last_error FROM outbox WHERE state = 'queued' AND last_error IS NOT NULL",
    )?;
    let errors = statement.query_map([], |row| row.get(0))?;
    standing.errors = errors.collect::<Result<_, _>>()?;
    standing.given_up = given_up(
        connection,
        "true ORDER BY given_up_at DESC, rowid DESC LIMIT ?1",
        params![SHOWN],
    )?;
    standing.trouble = trouble(connection)?;
    // The trouble says it already.
    let said = standing.trouble.as_ref().map(|trouble| &trouble.error);
    standing.errors.retain(|error| Some(error) != said);
    Ok(standing)
}

fn counts(connection: &Connection) -> Result<Standing, StoreError> {
    let (mut standing, oldest, last_sent) = connection.query_row(
        "SELECT count(*) FILTER (WHERE state = 'queued'), count(*) FILTER (WHERE state = 'sent'),
                count(*) FILTER (WHERE state = 'failed'), count(*) FILTER (WHERE state = 'expired'),
                min(queued_at) FILTER (WHERE state = 'queued' AND NOT EXISTS (
                  SELECT 1 FROM outbox AS held WHERE held.state = 'queued' AND held.held_at IS NOT NULL
                    AND held.person = mail.person AND held.rowid <= mail.rowid)),
                max(sent_at) FROM outbox AS mail",
        [],
        |row| {
            let standing = Standing {
                queued: row.get(0)?,
                sent: row.get(1)?,
                failed: row.get(2)?,
                expired: row.get(3)?,
                ..Standing::default()
            };
            Ok((
                standing,
                row.get::<_, Option<i64>>(4)?,
                row.get::<_, Option<i64>>(5)?,
            ))
        },
    )?;
    standing.oldest = oldest.map(instant).transpose()?;
    standing.last_sent = last_sent.map(instant).transpose()?;
    Ok(standing)
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
        &format!("given_up_at >= ?1 AND {CONCERNS} ORDER BY given_up_at, rowid"),
        params![since.timestamp(), adviser],
    )
}

fn given_up(
    connection: &Connection,
    which: &str,
    values: &[&dyn rusqlite::ToSql],
) -> Result<Vec<GivenUp>, StoreError> {
    let sql = format!(
        "SELECT state, kind, person, day, subject, coalesce(last_error, '') FROM outbox
         WHERE state IN ('failed', 'expired') AND {which}"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let rows = statement.query_map(values, |row| {
        let day_text = row.get::<_, String>(3)?;
        Ok(day(&day_text).map(|day| (day, row_texts(row))))
    })?;
    rows.map(|row| {
        let (day, texts) = row??;
        let [state, kind, person, subject, reason] = texts?;
        Ok(GivenUp {
            state,
            kind,
            person,
            day,
            subject,
            reason,
        })
    })
    .collect()
}

fn row_texts(row: &Row<'_>) -> rusqlite::Result<[String; 5]> {
    Ok([
        row.get(0)?,
        row.get(1)?,
        row.get(2)?,
        row.get(4)?,
        row.get(5)?,
    ])
}

/// A mail that reached its recipient later than it should have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Late {
    /// `digest` or `alert`.
    pub kind: String,
    /// The recipient's id.
    pub person: String,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// When it was sent.
    pub sent: DateTime<Utc>,
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
) -> Result<Vec<Late>, StoreError> {
    let mut statement = connection.prepare_cached(&format!(
        "SELECT kind, person, day, sent_at FROM outbox
         WHERE state = 'sent' AND sent_at >= ?1 AND {CONCERNS} AND held_by IS NULL
           AND sent_at > queued_at + ?3
             + CASE WHEN EXISTS (SELECT 1 FROM outbox_wait WHERE mail = message_id)
                 THEN hold_s + ?4 ELSE 0 END
         ORDER BY sent_at, rowid"
    ))?;
    let slack_s = slack.num_seconds();
    let values = params![since.timestamp(), adviser, slack_s, LONGEST_WAIT_S];
    let rows = statement.query_map(values, |row| {
        Ok((
            row.get(0)?,
            row.get(1)?,
            row.get::<_, String>(2)?,
            row.get::<_, i64>(3)?,
        ))
    })?;
    rows.map(|row| {
        let (kind, person, on, sent) = row?;
        Ok(Late {
            kind,
            person,
            day: day(&on)?,
            sent: instant(sent)?,
        })
    })
    .collect()
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
    /// `digest` or `alert`.
    pub kind: String,
    /// The recipient's id.
    pub person: String,
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
         WHERE day = ?1 AND message_id IN (SELECT mail FROM told) ORDER BY rowid",
    )?;
    let rows = statement.query_map([on.to_string()], |row| {
        Ok(Line {
            kind: row.get(0)?,
            person: row.get(1)?,
            subject: row.get(2)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}
