//! Mails waiting, sent and given up.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::MailKind;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use super::{StoreError, day, instant};

/// A mail to queue.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewMail {
    /// Message-ID header.
    pub message_id: String,
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The adviser whose blocks it is about; `None` where it is about those of several.
    pub adviser: Option<PersonId>,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// The recipient's address.
    pub address: String,
    /// Subject.
    pub subject: String,
    /// The whole message.
    pub body: Vec<u8>,
    /// When it is queued.
    pub queued_at: DateTime<Utc>,
    /// What an alert is composed from, as JSON, so that it can be composed anew.
    pub contents: Option<String>,
    /// The digests that must be sent first.
    pub waits_for: Vec<String>,
    /// Seconds to wait after those were sent.
    pub hold_s: i64,
}

/// A queued mail that may be tried now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waiting {
    /// Message-ID header.
    pub message_id: String,
    /// The name of its [`MailKind`].
    pub kind: String,
    /// The recipient's id.
    pub person: String,
    /// The adviser's id; empty where it is about the blocks of several.
    pub adviser: String,
    /// The civil day of telling.
    pub day: NaiveDate,
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
}

/// Queues a mail.
///
/// # Errors
/// A failing statement, such as a second mail of the same kind, person, adviser and day.
pub fn queue(connection: &Connection, mail: &NewMail) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "INSERT INTO outbox (message_id, kind, person, adviser, day, address, subject, body,
             contents, queued_at, hold_s, state, attempts, refusals, doubtful, next_try_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, 'queued', 0, 0, 0, ?10)",
        )?
        .execute(params![
            mail.message_id,
            mail.kind.name(),
            mail.person.as_str(),
            mail.adviser.as_ref().map_or("", PersonId::as_str),
            mail.day.to_string(),
            mail.address,
            mail.subject,
            mail.body,
            mail.contents,
            mail.queued_at.timestamp(),
            mail.hold_s,
        ])?;
    let mut wait =
        connection.prepare_cached("INSERT INTO outbox_wait (mail, digest) VALUES (?1, ?2)")?;
    for digest in &mail.waits_for {
        wait.execute([&mail.message_id, digest])?;
    }
    Ok(())
}

/// Whether a mail is in the outbox, sent or not.
///
/// # Errors
/// A failing statement.
pub fn contains(connection: &Connection, message_id: &str) -> Result<bool, StoreError> {
    Ok(connection
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM outbox WHERE message_id = ?1)")?
        .query_row([message_id], |row| row.get(0))?)
}

/// The newest civil day before another of which a person was sent a digest, or one waits for them.
///
/// # Errors
/// A failing statement.
pub fn newest_digest(
    connection: &Connection,
    person: &PersonId,
    before: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let newest: Option<String> = connection
        .prepare_cached(
            "SELECT max(day) FROM outbox WHERE kind = 'digest' AND person = ?1 AND day < ?2
               AND state NOT IN ('failed', 'expired', 'folded')",
        )?
        .query_row(params![person.as_str(), before.to_string()], |row| {
            row.get(0)
        })?;
    newest.map(|text| day(&text)).transpose()
}

/// The newest civil day before another for which a digest was made at all, whatever became of it.
///
/// # Errors
/// A failing statement.
pub fn newest_day(
    connection: &Connection,
    before: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let newest: Option<String> = connection
        .prepare_cached("SELECT max(day) FROM outbox WHERE kind = 'digest' AND day < ?1")?
        .query_row([before.to_string()], |row| row.get(0))?;
    newest.map(|text| day(&text)).transpose()
}

/// How many mails of a civil day a person gets, tests apart, and whether a summary is among them.
///
/// # Errors
/// A failing statement.
pub fn made_on(
    connection: &Connection,
    person: &PersonId,
    on: NaiveDate,
) -> Result<(u32, bool), StoreError> {
    let made = connection
        .prepare_cached(
            "SELECT count(*), count(*) FILTER (WHERE kind = 'summary') FROM outbox
             WHERE person = ?1 AND day = ?2 AND kind != 'test'",
        )?
        .query_row(params![person.as_str(), on.to_string()], |row| {
            Ok((row.get(0)?, row.get::<_, u32>(1)? > 0))
        })?;
    Ok(made)
}

/// A day in seconds: the longest an alert waits for its adviser's digest.
pub(super) const LONGEST_WAIT_S: i64 = 86_400;

/// The next mail that may be tried at an instant: the oldest of a recipient who has no older one
/// waiting (a digest, which lists held alerts, does not wait for them), that nobody holds, whose digests
/// have been sent long enough ago, and whose pause after a failure is over. None while trouble with the
/// way to all recipients holds up every mail.
///
/// # Errors
/// A failing statement.
pub fn next(connection: &Connection, now: DateTime<Utc>) -> Result<Option<Waiting>, StoreError> {
    connection
        .prepare_cached(
            "SELECT message_id, kind, person, adviser, day, address, body, attempts, refusals,
               first_try_at, doubtful
             FROM outbox AS mail
             WHERE state = 'queued' AND next_try_at <= ?1
               AND NOT EXISTS (SELECT 1 FROM mail_trouble WHERE mail_trouble.next_try_at > ?1)
               AND NOT EXISTS (SELECT 1 FROM outbox AS older
                 WHERE older.state = 'queued' AND older.person = mail.person
                   AND older.rowid < mail.rowid
                   AND NOT (mail.kind = 'digest' AND older.kind IN ('alert', 'summary') AND EXISTS (
                     SELECT 1 FROM outbox AS held WHERE held.state = 'queued' AND held.person = mail.person
                       AND held.held_at IS NOT NULL AND held.rowid <= older.rowid)))
               AND held_at IS NULL
               AND (queued_at + hold_s + ?2 <= ?1 OR NOT EXISTS (
                 SELECT 1 FROM outbox_wait AS wait JOIN outbox AS digest
                   ON digest.message_id = wait.digest
                 WHERE wait.mail = mail.message_id
                   AND (digest.state != 'sent' OR digest.sent_at + mail.hold_s > ?1)))
             ORDER BY rowid LIMIT 1",
        )?
        .query_row(params![now.timestamp(), LONGEST_WAIT_S], |row| {
            Ok(read(row))
        })
        .optional()?
        .transpose()
}

fn read(row: &Row<'_>) -> Result<Waiting, StoreError> {
    Ok(Waiting {
        message_id: row.get(0)?,
        kind: row.get(1)?,
        person: row.get(2)?,
        adviser: row.get(3)?,
        day: day(row.get_ref(4)?.as_str().map_err(rusqlite::Error::from)?)?,
        address: row.get(5)?,
        body: row.get(6)?,
        attempts: row.get(7)?,
        refusals: row.get(8)?,
        first_try: row.get::<_, Option<i64>>(9)?.map(instant).transpose()?,
        doubtful: row.get(10)?,
    })
}

/// Takes the next mail that may be tried and counts the try before it is made, so that a crash cannot
/// make it uncounted: until it has failed clearly, the mail may have been taken. In one transaction: what
/// was held or rewritten before it is heeded, and after it the mail can be neither.
///
/// # Errors
/// A failing statement.
pub fn take(
    transaction: &Transaction<'_>,
    now: DateTime<Utc>,
) -> Result<Option<Waiting>, StoreError> {
    let mail = next(transaction, now)?;
    if let Some(mail) = &mail {
        count_try(transaction, &mail.message_id, now)?;
    }
    Ok(mail)
}

pub(super) fn count_try(
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
    /// The word in the database and for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Failed => "failed",
            Self::Expired => "expired",
        }
    }
}

/// Gives a mail up. What it told counts as untold from now on.
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
            "UPDATE outbox SET state = ?2, last_error = ?3, given_up_at = ?4 WHERE message_id = ?1",
        )?
        .execute(params![message_id, end.name(), error, at.timestamp()])?;
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
    Ok(connection
        .prepare_cached(
            "UPDATE outbox SET state = 'expired', last_error = ?2, given_up_at = ?3
             WHERE state = 'queued' AND queued_at <= ?1 AND held_at IS NULL",
        )?
        .execute(params![oldest.timestamp(), error, at.timestamp()])?)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::future::Future;

    use chrono::TimeDelta;

    use super::*;
    use crate::store::{Store, alerts};

    const HOUR: i64 = 3600;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_655_730_000 + hours * HOUR, 0).unwrap()
    }

    fn mail(id: &str, kind: MailKind, person: &str, waits_for: Option<&str>) -> NewMail {
        NewMail {
            message_id: id.to_owned(),
            kind,
            person: PersonId::new(person).unwrap(),
            adviser: PersonId::new("ada").ok(),
            day: NaiveDate::from_ymd_opt(2022, 6, 20).unwrap(),
            address: format!("{person}@test.example"),
            subject: id.to_owned(),
            body: id.as_bytes().to_vec(),
            queued_at: at(0),
            contents: None,
            waits_for: waits_for.map(str::to_owned).into_iter().collect(),
            hold_s: 4 * HOUR,
        }
    }

    /// Works on a real database in a temporary folder.
    async fn with_outbox(
        mails: Vec<NewMail>,
        look: impl FnOnce(&Connection) -> Result<(), StoreError> + Send + 'static,
    ) {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(&dir.path().join("records.sqlite")).unwrap();
        let looked: Result<(), StoreError> = store
            .write(move |t| {
                for mail in &mails {
                    queue(t, mail)?;
                }
                look(t)
            })
            .await;
        looked.unwrap();
    }

    fn next_id(connection: &Connection, hours: i64) -> Option<String> {
        next(connection, at(hours))
            .unwrap()
            .map(|mail| mail.message_id)
    }

    #[tokio::test]
    async fn an_alert_waits_until_its_digest_was_sent_and_the_hold_is_over() {
        let digest = mail("digest", MailKind::Digest, "ada", None);
        let alert = mail("alert", MailKind::Alert, "gil", Some("digest"));
        with_outbox(vec![digest, alert], |c| {
            assert_eq!(next_id(c, 0).as_deref(), Some("digest"));
            mark_sent(c, "digest", "taken", at(1))?;
            assert_eq!(next_id(c, 4), None);
            assert_eq!(next_id(c, 5).as_deref(), Some("alert"));
            Ok(())
        })
        .await;
    }

    #[tokio::test]
    async fn an_alert_leaves_a_day_after_its_hold_at_the_latest() {
        let digest = mail("digest", MailKind::Digest, "ada", None);
        let alert = mail("alert", MailKind::Alert, "gil", Some("digest"));
        with_outbox(vec![digest, alert], |c| {
            keep(c, "digest", "the folder is full", at(100))?;
            assert_eq!(next_id(c, 27), None);
            assert_eq!(next_id(c, 28).as_deref(), Some("alert"));
            Ok(())
        })
        .await;
    }

    #[tokio::test]
    async fn a_later_mail_never_overtakes_and_one_persons_trouble_holds_up_nobody_else() {
        let mut second = mail("second", MailKind::Digest, "ada", None);
        second.day += TimeDelta::days(1);
        let other = mail("other", MailKind::Digest, "bo", None);
        let first = mail("first", MailKind::Digest, "ada", None);
        with_outbox(vec![first, second, other], |c| {
            keep(c, "first", "no such folder", at(10))?;
            assert_eq!(next_id(c, 5).as_deref(), Some("other"));
            mark_sent(c, "other", "taken", at(5))?;
            assert_eq!(next_id(c, 9), None);
            assert_eq!(next_id(c, 10).as_deref(), Some("first"));
            mark_sent(c, "first", "taken", at(10))?;
            assert_eq!(next_id(c, 10).as_deref(), Some("second"));
            Ok(())
        })
        .await;
    }

    #[tokio::test]
    async fn a_second_mail_of_one_kind_person_and_day_is_refused() {
        let again = mail("again", MailKind::Digest, "ada", None);
        with_outbox(
            vec![mail("digest", MailKind::Digest, "ada", None)],
            move |c| {
                assert!(queue(c, &again).is_err());
                Ok(())
            },
        )
        .await;
    }

    #[tokio::test]
    async fn a_held_alert_and_those_behind_it_stay_and_a_digest_does_not_wait_for_them() {
        let alert = mail("alert", MailKind::Alert, "gil", None);
        let mut later = mail("later", MailKind::Alert, "gil", None);
        later.day += TimeDelta::days(1);
        let digest = mail("digest", MailKind::Digest, "gil", None);
        with_outbox(vec![alert, later, digest], |c| {
            assert!(alerts::hold(c, "alert", "ada", at(0))?);
            assert_eq!(next_id(c, 50).as_deref(), Some("digest"));
            mark_sent(c, "digest", "taken", at(50))?;
            assert_eq!(next_id(c, 500), None);
            // Held mails are not given up with those of a server that is down for days.
            assert_eq!(expire_queued_up_to(c, at(10), "no answer", at(500))?, 1);
            assert!(alerts::release(c, "alert", "ada")?);
            assert_eq!(next_id(c, 501).as_deref(), Some("alert"));
            Ok(())
        })
        .await;
    }

    /// Two processes on one file: an alert is held in time, or it is tried; never both.
    #[test]
    fn a_hold_and_a_try_at_the_same_moment_never_both_succeed() {
        const ALERTS: usize = 200;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records.sqlite");
        let on_own_thread = |work: fn(Store, usize) -> BoxedFuture| {
            let store = Store::open(&path).unwrap();
            std::thread::spawn(move || {
                let runtime = tokio::runtime::Builder::new_current_thread()
                    .build()
                    .unwrap();
                runtime.block_on(work(store, ALERTS))
            })
        };
        on_own_thread(|store, alerts| Box::pin(queue_many(store, alerts)))
            .join()
            .unwrap();
        let taking = on_own_thread(|store, alerts| Box::pin(take_all(store, alerts)));
        let holding = on_own_thread(|store, alerts| Box::pin(hold_all(store, alerts)));
        let (taken, held) = (taking.join().unwrap(), holding.join().unwrap());
        assert!(taken.is_disjoint(&held));
        assert_eq!(taken.len() + held.len(), ALERTS);
    }

    type BoxedFuture = std::pin::Pin<Box<dyn Future<Output = BTreeSet<String>>>>;

    fn person(n: usize) -> String {
        format!("p{n}")
    }

    async fn queue_many(store: Store, alerts: usize) -> BTreeSet<String> {
        let queued: Result<(), StoreError> = store
            .write(move |t| {
                let mut people = (0..alerts).map(person);
                people.try_for_each(|p| queue(t, &mail(&p, MailKind::Alert, &p, None)))
            })
            .await;
        queued.unwrap();
        BTreeSet::new()
    }

    /// From the first to the last, until nothing may be tried.
    async fn take_all(store: Store, _: usize) -> BTreeSet<String> {
        let mut taken = BTreeSet::new();
        while let Some(mail) = store.write(|t| take(t, at(50))).await.unwrap() {
            let id = mail.message_id.clone();
            let marked = store
                .write(move |t| mark_sent(t, &id, "taken", at(50)))
                .await;
            marked.unwrap();
            taken.insert(mail.message_id);
        }
        taken
    }

    /// From the last to the first.
    async fn hold_all(store: Store, alerts: usize) -> BTreeSet<String> {
        let mut held = BTreeSet::new();
        for id in (0..alerts).rev().map(person) {
            let key = id.clone();
            let done = store
                .write(move |t| alerts::hold(t, &key, "ada", at(0)))
                .await;
            held.extend(done.unwrap().then_some(id));
        }
        held
    }
}
