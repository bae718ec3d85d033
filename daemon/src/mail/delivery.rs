//! From the outbox to the recipient: at least once, first in first out for each of them.

use chrono::{DateTime, Utc};
use duskflight_core::ledger::MailKind;
use rusqlite::Connection;

use super::reply_class::ReplyClass;
use super::retry::{self, LONGEST, Next, tried_for_too_long};
use super::send_error::SendError;
use super::transport::{Round, Transport};
use crate::clock::Clock;
use crate::crash;
use crate::store::outbox::{self, End, Waiting};
use crate::store::{Store, StoreError, outbox_report};

/// What one round of delivery did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Delivered {
    /// Mails that the transport took over.
    pub sent: usize,
    /// Mails kept for a later try.
    pub kept: usize,
    /// Mails given up.
    pub given_up: usize,
    /// What ended the round early, since it would befall every other mail, too.
    pub stopped: Option<SendError>,
}

/// Sends every mail that may be sent. A mail is marked as sent only after the transport
/// has it, so a crash in between sends it once more, under the same Message-ID and bytes. The clock is asked
/// for each mail, since a round may last for hours and a hold counts from the digest's own leaving.
///
/// # Errors
/// When the records cannot be read or written; a mail that cannot be sent is kept or given up.
pub async fn deliver(
    store: &Store,
    transport: &Transport,
    clock: &dyn Clock,
) -> Result<Delivered, StoreError> {
    deliver_which(None, store, transport, clock).await
}

/// Sends every mail of one kind that may be sent, as if there were no others.
///
/// # Errors
/// As [`deliver`].
pub async fn deliver_only(
    kind: MailKind,
    store: &Store,
    transport: &Transport,
    clock: &dyn Clock,
) -> Result<Delivered, StoreError> {
    deliver_which(Some(kind), store, transport, clock).await
}

async fn deliver_which(
    only: Option<MailKind>,
    store: &Store,
    transport: &Transport,
    clock: &dyn Clock,
) -> Result<Delivered, StoreError> {
    let mut round = transport.round();
    let delivered = deliver_in(&mut round, only, store, clock).await;
    round.close().await;
    delivered
}

async fn deliver_in(
    round: &mut Round<'_>,
    only: Option<MailKind>,
    store: &Store,
    clock: &dyn Clock,
) -> Result<Delivered, StoreError> {
    let mut delivered = Delivered::default();
    while let Some(mail) = take(store, only, clock.now()).await? {
        let answer = round.send(&mail).await;
        let now = clock.now();
        match answer {
            Ok(answer) => {
                crash::point("before it is marked as sent");
                store
                    .write(move |t| settle_sent(t, &mail, &answer, now))
                    .await?;
                delivered.sent += 1;
            }
            Err(error) => {
                let after = settle_failed(store, mail, &error, now).await?;
                delivered.kept += after.kept;
                delivered.given_up += after.given_up;
                if error.of_all {
                    delivered.stopped = Some(error);
                    break;
                }
            }
        }
    }
    Ok(delivered)
}

async fn take(
    store: &Store,
    only: Option<MailKind>,
    now: DateTime<Utc>,
) -> Result<Option<Waiting>, StoreError> {
    store.write(move |t| outbox::take(t, only, now)).await
}

fn settle_sent(
    connection: &Connection,
    mail: &Waiting,
    answer: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    outbox::mark_sent(connection, &mail.message_id, answer, now)?;
    outbox::end_unknown_before(connection, mail, now)?;
    outbox_report::clear_trouble(connection)
}

async fn settle_failed(
    store: &Store,
    mail: Waiting,
    error: &SendError,
    now: DateTime<Utc>,
) -> Result<Delivered, StoreError> {
    let id = mail.message_id.clone();
    let failure = error.clone();
    let (after, as_before) = store
        .write(move |t| {
            let as_before = is_said(t, &mail, &failure)?;
            let doubtful = mail.doubtful || failure.may_be_taken;
            outbox::set_doubtful(t, &mail.message_id, doubtful)?;
            if failure.may_be_taken {
                outbox::note_unknown(t, &mail.message_id, now)?;
            }
            let after = match failure.of_all {
                true => settle_trouble(t, &mail, &failure, now)?,
                false => settle_mail(t, &mail, &failure, now)?,
            };
            Ok::<_, StoreError>((after, as_before))
        })
        .await?;
    let reason = error.words();
    if error.may_be_taken {
        tracing::warn!(mail.id = %id, reason, "nobody knows whether the mail was taken");
    } else if after.given_up > 0 {
        tracing::error!(mail.id = %id, reason, mails = after.given_up, "mail given up");
    } else if as_before {
        tracing::debug!(mail.id = %id, reason, "mail still kept");
    } else {
        tracing::warn!(mail.id = %id, reason, "mail kept for a later try");
    }
    Ok(after)
}

/// Whether a failure was said before, of the same mail or of the way to all: what lasts is said once.
fn is_said(connection: &Connection, mail: &Waiting, error: &SendError) -> Result<bool, StoreError> {
    if error.of_all {
        let before = outbox_report::trouble(connection)?;
        return Ok(before.is_some_and(|trouble| trouble.error == error.reason));
    }
    Ok(mail.error.as_ref() == Some(&error.words()))
}

/// A failure of one mail; the way to the others is open.
fn settle_mail(
    connection: &Connection,
    mail: &Waiting,
    error: &SendError,
    now: DateTime<Utc>,
) -> Result<Delivered, StoreError> {
    outbox_report::clear_trouble(connection)?;
    if error.class == ReplyClass::Unclear {
        outbox::count_refusal(connection, &mail.message_id)?;
    }
    let words = error.words();
    let mut after = Delivered::default();
    match retry::next(error, mail, now) {
        Next::At(at) => {
            outbox::keep(connection, &mail.message_id, &words, at)?;
            after.kept = 1;
        }
        Next::Never(end) => {
            outbox::give_up(connection, &mail.message_id, end, &words, now)?;
            after.given_up = 1;
        }
    }
    Ok(after)
}

/// A failure on the way to everybody: no mail is tried for a while. What we can mend never gives a
/// mail up; what should have passed by itself does after days.
fn settle_trouble(
    connection: &Connection,
    mail: &Waiting,
    error: &SendError,
    now: DateTime<Utc>,
) -> Result<Delivered, StoreError> {
    let before = outbox_report::trouble(connection)?;
    let trouble = retry::trouble(before.as_ref(), &error.reason, error.advice(), now);
    outbox_report::set_trouble(connection, &trouble)?;
    outbox::keep(connection, &mail.message_id, &error.reason, now)?;
    let mut after = Delivered {
        kept: 1,
        ..Delivered::default()
    };
    if error.advice().is_some() {
        return Ok(after);
    }
    if tried_for_too_long(mail.first_try, now) {
        outbox::give_up(
            connection,
            &mail.message_id,
            End::Expired,
            &error.reason,
            now,
        )?;
        after = Delivered {
            given_up: 1,
            ..Delivered::default()
        };
    }
    if tried_for_too_long(Some(trouble.since), now) {
        after.given_up +=
            outbox::expire_queued_up_to(connection, now - LONGEST, &error.reason, now)?;
    }
    Ok(after)
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicI64, Ordering};

    use chrono::NaiveDate;
    use duskflight_core::id::PersonId;
    use duskflight_core::ledger::MailKind;

    use super::*;
    use crate::store::outbox::NewMail;
    use crate::store::snapshot;

    /// A clock that goes on by an hour each time it is read.
    #[derive(Default, Debug)]
    struct Hourly(AtomicI64);

    impl Clock for Hourly {
        fn now(&self) -> DateTime<Utc> {
            at(self.0.fetch_add(1, Ordering::Relaxed))
        }
    }

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_655_730_000 + hours * 3600, 0).unwrap()
    }

    fn mail(kind: MailKind, who: &str, waits_for: &[&str]) -> NewMail {
        NewMail {
            message_id: who.to_owned(),
            kind,
            person: PersonId::new(who).unwrap(),
            adviser: PersonId::new("ada").ok(),
            day: NaiveDate::from_ymd_opt(2022, 6, 20).unwrap(),
            about: String::new(),
            address: format!("{who}@test.example"),
            subject: String::new(),
            body: Some(b"mail".to_vec()),
            queued_at: at(0),
            contents: None,
            waits_for: waits_for.iter().map(|&id| id.to_owned()).collect(),
            hold_s: 4 * 3600,
        }
    }

    #[tokio::test]
    async fn in_a_long_round_each_mail_has_its_own_instant_and_a_hold_counts_from_the_digests() {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::create(&dir.path().join("records.sqlite")).unwrap();
        let digests = ["ada", "bo", "cy", "di"].map(|who| mail(MailKind::Digest, who, &[]));
        let alert = mail(MailKind::Alert, "gil", &["bo"]);
        let queued: Result<(), StoreError> = store
            .write(move |t| {
                let mut mails = digests.iter().chain([&alert]);
                mails.try_for_each(|mail| outbox::queue(t, mail))
            })
            .await;
        queued.unwrap();
        let clock = Hourly::default();
        let folder = Transport::Folder(dir.path().join("mail"));
        assert_eq!(deliver(&store, &folder, &clock).await.unwrap().sent, 5);
        let sent = store
            .read(|c| snapshot::fates_from(c, NaiveDate::MIN))
            .await;
        let sent: Vec<_> = sent.unwrap().into_values().map(|fate| fate.sent).collect();
        // Each is taken at an even hour and settled at the next: of ada, bo, cy, di, and gil, whose four hours
        // since bo's are over at hour 7.
        assert_eq!(sent, [1, 3, 5, 7, 9].map(|hour| Some(at(hour))));
    }
}
