//! Mails that wait because of trouble: folded, so that one mail of today tells what holds now.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailKind, Queue};
use rusqlite::{Connection, params};

use super::outbox_report::CONCERNS;
use super::{StoreError, day};

/// A mail that was folded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoldedMail {
    /// Its Message-ID.
    pub message_id: String,
    /// What it was.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The advisers whose blocks it was about.
    pub advisers: Vec<PersonId>,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// Why it was not delivered, where it was tried.
    pub error: Option<String>,
}

/// Folds all mails of a person from before a civil day that certainly were not taken, once one of them waits
/// for longer than `patience` because of trouble: see [`Queue::to_fold`]. What they told counts as untold from
/// now on.
///
/// # Errors
/// A failing statement.
pub fn fold(
    connection: &Connection,
    queue: &Queue,
    person: &PersonId,
    today: NaiveDate,
    patience: TimeDelta,
    now: DateTime<Utc>,
    into: &str,
) -> Result<Vec<FoldedMail>, StoreError> {
    let mails = queue.to_fold(person, today, patience, now);
    let mut fold = connection.prepare_cached(
        "UPDATE outbox SET state = 'folded', given_up_at = ?2, last_error = ?3 WHERE message_id = ?1",
    )?;
    for mail in &mails {
        fold.execute(params![mail.message_id, now.timestamp(), into])?;
    }
    let folded = mails.into_iter().map(|mail| FoldedMail {
        message_id: mail.message_id.clone(),
        kind: mail.kind,
        person: mail.person.clone(),
        advisers: mail.advisers(),
        day: mail.day,
        error: mail.error.clone(),
    });
    Ok(folded.collect())
}

/// Folds all mails that wait for others than advisers and certainly were not taken, and gives how many: they were made
/// from records that are missing now.
///
/// # Errors
/// A failing statement.
pub fn fold_all(
    connection: &Connection,
    now: DateTime<Utc>,
    why: &str,
) -> Result<usize, StoreError> {
    Ok(connection.execute(
        "UPDATE outbox SET state = 'folded', given_up_at = ?1, last_error = ?2
         WHERE state = 'queued' AND doubtful = 0 AND kind NOT IN ('digest', 'records', 'test')",
        params![now.timestamp(), why],
    )?)
}

/// The civil day of the oldest mail about an adviser's blocks that was folded and not made up for: none was
/// sent to the person since.
///
/// # Errors
/// A failing statement.
pub fn silent_from(
    connection: &Connection,
    person: &PersonId,
    adviser: &PersonId,
) -> Result<Option<NaiveDate>, StoreError> {
    let sql = format!(
        "SELECT min(day) FROM outbox WHERE person = ?1 AND state = 'folded' AND {CONCERNS}
           AND day > coalesce((SELECT max(day) FROM outbox
             WHERE person = ?1 AND state = 'sent' AND kind NOT IN ('test', 'operator', 'receipt') AND {CONCERNS}), '')"
    );
    let oldest: Option<String> = connection
        .prepare_cached(&sql)?
        .query_row([person.as_str(), adviser.as_str()], |row| row.get(0))?;
    oldest.map(|text| day(&text)).transpose()
}

/// Lets the mails that wait for an adviser's folded digests wait for a new one instead.
///
/// # Errors
/// A failing statement.
pub fn wait_for_newer(
    connection: &Connection,
    adviser: &PersonId,
    digest: &str,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "UPDATE OR REPLACE outbox_wait SET digest = ?2
             WHERE mail IN (SELECT message_id FROM outbox WHERE state = 'queued')
               AND digest IN (SELECT message_id FROM outbox
                 WHERE kind = 'digest' AND adviser = ?1 AND state = 'folded')",
        )?
        .execute([adviser.as_str(), digest])?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Store;
    use crate::store::outbox::{self, NewMail};

    const DAY_S: i64 = 86_400;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_655_730_000 + hours * 3600, 0).unwrap()
    }

    fn on(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
    }

    fn person(id: &str) -> PersonId {
        PersonId::new(id).unwrap()
    }

    /// A mail of a day in June, queued on its morning.
    fn mail(kind: MailKind, who: &str, of: u32, waits_for: &[&str]) -> NewMail {
        NewMail {
            message_id: format!("{}-{of}-{who}", kind.name()),
            kind,
            person: person(who),
            adviser: Some(person("ada")),
            day: on(of),
            address: format!("{who}@test.example"),
            subject: String::new(),
            about: String::new(),
            body: Some(b"mail".to_vec()),
            queued_at: at(24 * (i64::from(of) - 20)),
            contents: None,
            waits_for: waits_for.iter().map(|&id| id.to_owned()).collect(),
            hold_s: 4 * 3600,
        }
    }

    async fn with(
        mails: Vec<NewMail>,
        look: impl FnOnce(&Connection) -> Result<(), StoreError> + Send + 'static,
    ) {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::create(&dir.path().join("records.sqlite")).unwrap();
        let looked: Result<(), StoreError> = store
            .write(move |t| {
                for mail in &mails {
                    outbox::queue(t, mail)?;
                }
                look(t)
            })
            .await;
        looked.unwrap();
    }

    /// What is folded of a person's mails on the morning of a day.
    fn folded(c: &Connection, who: &str, on_day: u32) -> Result<Vec<String>, StoreError> {
        let now = at(24 * (i64::from(on_day) - 20));
        let patience = TimeDelta::seconds(DAY_S) + TimeDelta::hours(2);
        let queue = outbox::read_queue(c)?;
        let mails = fold(c, &queue, &person(who), on(on_day), patience, now, "folded")?;
        Ok(mails.into_iter().map(|mail| mail.message_id).collect())
    }

    #[tokio::test]
    async fn once_one_mail_is_stuck_all_of_that_persons_are_folded_and_nobody_elses() {
        let mails = vec![
            mail(MailKind::Digest, "ada", 20, &[]),
            mail(MailKind::Digest, "bo", 21, &[]),
            mail(MailKind::Digest, "ada", 21, &[]),
        ];
        with(mails, |c| {
            assert_eq!(folded(c, "ada", 21)?, [""; 0], "a day is no trouble yet");
            assert_eq!(folded(c, "bo", 22)?, [""; 0]);
            assert_eq!(folded(c, "ada", 22)?, ["digest-20-ada", "digest-21-ada"]);
            assert_eq!(folded(c, "ada", 23)?, [""; 0]);
            Ok(())
        })
        .await;
    }

    #[tokio::test]
    async fn what_may_have_been_taken_or_is_held_is_not_folded() {
        let mails = vec![
            mail(MailKind::Alert, "gil", 20, &[]),
            mail(MailKind::Alert, "gil", 21, &[]),
            mail(MailKind::Alert, "hal", 20, &[]),
            mail(MailKind::Alert, "hal", 21, &[]),
        ];
        with(mails, |c| {
            outbox::count_try(c, "alert-20-gil", at(0))?;
            c.execute(
                "UPDATE outbox SET held_at = 1 WHERE message_id = 'alert-20-hal'",
                [],
            )?;
            // Taken perhaps: only the one after it is folded. Held: what is behind it waits for that.
            assert_eq!(folded(c, "gil", 23)?, ["alert-21-gil"]);
            assert_eq!(folded(c, "hal", 23)?, [""; 0]);
            outbox::set_doubtful(c, "alert-20-gil", false)?;
            assert_eq!(folded(c, "gil", 23)?, ["alert-20-gil"]);
            let next = outbox::next(c, at(72))?.map(|mail| mail.message_id);
            assert_eq!(next, None, "all of gil's are folded, hal's is held");
            Ok(())
        })
        .await;
    }

    #[tokio::test]
    async fn a_mail_that_waits_for_its_digest_is_not_stuck_until_that_wait_is_over() {
        let mails = vec![
            mail(MailKind::Digest, "ada", 20, &[]),
            NewMail {
                hold_s: 30 * 3600,
                ..mail(MailKind::Alert, "gil", 20, &["digest-20-ada"])
            },
        ];
        with(mails, |c| {
            assert_eq!(folded(c, "gil", 22)?, [""; 0]);
            assert_eq!(folded(c, "ada", 22)?, ["digest-20-ada"]);
            outbox::queue(c, &mail(MailKind::Digest, "ada", 22, &[]))?;
            wait_for_newer(c, &person("ada"), "digest-22-ada")?;
            let waits: String =
                c.query_row("SELECT digest FROM outbox_wait", [], |row| row.get(0))?;
            assert_eq!(waits, "digest-22-ada");
            // It could leave after a day and the 30 hours of its hold at the latest; 26 hours more make 80.
            assert_eq!(folded(c, "gil", 23)?, [""; 0]);
            assert_eq!(folded(c, "gil", 24)?, ["alert-20-gil"]);
            Ok(())
        })
        .await;
    }

    #[tokio::test]
    async fn a_mail_that_nobody_came_to_send_since_its_digest_left_is_not_stuck() {
        let mails = vec![
            mail(MailKind::Digest, "ada", 20, &[]),
            mail(MailKind::Alert, "gil", 20, &["digest-20-ada"]),
        ];
        with(mails, |c| {
            // A day late: the alert may leave four hours later, 20 hours before the morning of the 22nd.
            outbox::mark_sent(c, "digest-20-ada", "taken", at(24))?;
            assert_eq!(folded(c, "gil", 22)?, [""; 0]);
            assert_eq!(folded(c, "gil", 23)?, ["alert-20-gil"]);
            Ok(())
        })
        .await;
    }
}
