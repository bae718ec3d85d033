//! Trying a mail, and what came of it.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailIdentity, MailKind, MailState, QueuedMail};
use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::queued::read_queue;
use crate::store::StoreError;

/// A queued mail that may be tried now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waiting {
    /// Message-ID header.
    pub message_id: String,
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The adviser; `None` where it is about the blocks of several.
    pub adviser: Option<PersonId>,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// The id of what it is about beside these; empty where there is one mail of them a day.
    pub about: String,
    /// The recipient's address.
    pub address: String,
    /// The whole message.
    pub body: Vec<u8>,
    /// Tries so far.
    pub attempts: u32,
    /// Of those, how many were refused without a clear reason.
    pub refusals: u32,
    /// When it was tried first.
    pub first_try: Option<DateTime<Utc>>,
    /// Whether a try before may have been taken without our hearing of it.
    pub doubtful: bool,
    /// Since when we know that we do not know whether it was taken.
    pub unknown_since: Option<DateTime<Utc>>,
    /// Why the try before failed.
    pub error: Option<String>,
}

impl Waiting {
    /// What makes it a mail that is made once.
    #[must_use]
    pub fn identity(&self) -> MailIdentity {
        MailIdentity {
            kind: self.kind,
            person: self.person.clone(),
            adviser: self.adviser.clone(),
            day: self.day,
            about: self.about.clone(),
        }
    }
}

/// Whether any mail may be tried at an instant.
///
/// # Errors
/// A failing statement.
pub fn may_leave(connection: &Connection, now: DateTime<Utc>) -> Result<bool, StoreError> {
    Ok(read_queue(connection)?.next(now).is_some())
}

/// The next mail that may be tried at an instant.
///
/// # Errors
/// A failing statement.
pub fn next(connection: &Connection, now: DateTime<Utc>) -> Result<Option<Waiting>, StoreError> {
    let queue = read_queue(connection)?;
    let next = queue.next(now);
    next.map(|mail| waiting(connection, mail)).transpose()
}

fn waiting(connection: &Connection, mail: &QueuedMail) -> Result<Waiting, StoreError> {
    let found = connection
        .prepare_cached(
            "SELECT address, refusals, body FROM outbox JOIN mail_content USING (message_id)
             WHERE outbox.message_id = ?1 AND body IS NOT NULL",
        )?
        .query_row([&mail.message_id], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })
        .optional()?;
    let (address, refusals, body) = found.ok_or_else(|| StoreError::Value {
        column: "body",
        value: format!("nothing, of {}", mail.message_id),
    })?;
    Ok(Waiting {
        message_id: mail.message_id.clone(),
        kind: mail.kind,
        person: mail.person.clone(),
        adviser: mail.adviser.clone(),
        day: mail.day,
        about: mail.about.clone(),
        address,
        body,
        attempts: mail.attempts,
        refusals,
        first_try: mail.first_try,
        doubtful: mail.doubtful,
        unknown_since: mail.unknown_since,
        error: mail.error.clone(),
    })
}

/// Takes the next mail that may be tried and counts the try before it is made, so that a crash cannot
/// make it uncounted: until it has failed clearly, the mail may have been taken. In one transaction: what
/// was held or rewritten before it is heeded, and after it the mail can be neither. `only`: of one kind, as if there were
/// no others.
///
/// # Errors
/// A failing statement.
pub fn take(
    transaction: &Transaction<'_>,
    only: Option<MailKind>,
    now: DateTime<Utc>,
) -> Result<Option<Waiting>, StoreError> {
    let queue = match only {
        Some(kind) => read_queue(transaction)?.of_kind(kind),
        None => read_queue(transaction)?,
    };
    let mail = queue.next(now).map(|mail| waiting(transaction, mail));
    let mail = mail.transpose()?;
    if let Some(mail) = &mail {
        count_try(transaction, &mail.message_id, now)?;
    }
    Ok(mail)
}

pub(in crate::store) fn count_try(
    connection: &Connection,
    message_id: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "UPDATE outbox SET attempts = attempts + 1, doubtful = 1,
               first_try_at = coalesce(first_try_at, ?2)
             WHERE message_id = ?1",
        )?
        .execute(params![message_id, now.timestamp()])?;
    Ok(())
}

/// Notes whether any try of a mail may have been taken without our hearing of it.
///
/// # Errors
/// A failing statement.
pub fn set_doubtful(
    connection: &Connection,
    message_id: &str,
    doubtful: bool,
) -> Result<(), StoreError> {
    connection
        .prepare_cached("UPDATE outbox SET doubtful = ?2 WHERE message_id = ?1")?
        .execute(params![message_id, doubtful])?;
    Ok(())
}

/// Notes that a server which had all of a mail said nothing in time.
///
/// # Errors
/// A failing statement.
pub fn note_unknown(
    connection: &Connection,
    message_id: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "UPDATE outbox SET unknown_since = coalesce(unknown_since, ?2) WHERE message_id = ?1",
        )?
        .execute(params![message_id, at.timestamp()])?;
    Ok(())
}

/// Gives up a person's mails of unknown outcome that are older than one of theirs that was taken now: what is told
/// in order is not told again behind it.
///
/// # Errors
/// A failing statement.
pub fn end_unknown_before(
    connection: &Connection,
    taken: &Waiting,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    if taken.kind.tells_nothing() {
        return Ok(());
    }
    connection
        .prepare_cached(
            "UPDATE outbox SET state = 'unknown', given_up_at = ?3
             WHERE person = ?1 AND state = 'queued' AND unknown_since IS NOT NULL
               AND place < (SELECT place FROM outbox WHERE message_id = ?2)",
        )?
        .execute(params![
            taken.person.as_str(),
            taken.message_id,
            at.timestamp()
        ])?;
    Ok(())
}

/// Marks a mail as taken over by the transport.
///
/// # Errors
/// A failing statement.
pub fn mark_sent(
    connection: &Connection,
    message_id: &str,
    answer: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "UPDATE outbox SET state = 'sent', sent_at = ?2, answer = ?3, last_error = NULL, doubtful = 0
             WHERE message_id = ?1",
        )?
        .execute(params![message_id, at.timestamp(), answer])?;
    Ok(())
}

/// Keeps a mail that could not be sent for a later try.
///
/// # Errors
/// A failing statement.
pub fn keep(
    connection: &Connection,
    message_id: &str,
    error: &str,
    next_try_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "UPDATE outbox SET next_try_at = ?3, last_error = ?2 WHERE message_id = ?1",
        )?
        .execute(params![message_id, error, next_try_at.timestamp()])?;
    Ok(())
}

/// Counts a refusal without a clear reason.
///
/// # Errors
/// A failing statement.
pub fn count_refusal(connection: &Connection, message_id: &str) -> Result<(), StoreError> {
    connection
        .prepare_cached("UPDATE outbox SET refusals = refusals + 1 WHERE message_id = ?1")?
        .execute([message_id])?;
    Ok(())
}

/// How a mail ends that is not sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// It was refused.
    Failed,
    /// It was tried for too long.
    Expired,
}

impl End {
    const fn state(self) -> MailState {
        match self {
            Self::Failed => MailState::Failed,
            Self::Expired => MailState::Expired,
        }
    }
}

/// Gives a mail up. What it told counts as untold from now on, unless it may have been taken: nobody is told twice.
///
/// # Errors
/// A failing statement.
pub fn give_up(
    connection: &Connection,
    message_id: &str,
    end: End,
    error: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "UPDATE outbox SET state = iif(doubtful, 'unknown', ?2), last_error = ?3, given_up_at = ?4,
               unknown_since = iif(doubtful, coalesce(unknown_since, ?4), NULL)
             WHERE message_id = ?1",
        )?
        .execute(params![
            message_id,
            end.state().name(),
            error,
            at.timestamp()
        ])?;
    Ok(())
}

/// Gives up all mails that were queued up to an instant and are still waiting, but for held ones, and
/// tells how many.
///
/// # Errors
/// A failing statement.
pub fn expire_queued_up_to(
    connection: &Connection,
    oldest: DateTime<Utc>,
    error: &str,
    at: DateTime<Utc>,
) -> Result<usize, StoreError> {
    let queue = read_queue(connection)?;
    let mails = queue.mails().iter();
    let old = mails.filter(|mail| mail.queued_at <= oldest && !mail.is_held());
    old.map(|mail| give_up(connection, &mail.message_id, End::Expired, error, at))
        .try_fold(0, |count, given_up| given_up.map(|()| count + 1))
}
