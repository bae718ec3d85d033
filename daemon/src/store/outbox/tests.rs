use std::collections::BTreeSet;
use std::future::Future;

use chrono::TimeDelta;

use super::*;
use crate::store::{Store, alerts};

const HOUR: i64 = 3600;
const HOLD_S: u32 = 4 * 3600;

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
        about: String::new(),
        body: Some(id.as_bytes().to_vec()),
        queued_at: at(0),
        contents: None,
        waits_for: waits_for.map(str::to_owned).into_iter().collect(),
        hold_s: HOLD_S,
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
        assert!(alerts::release(c, "alert", "ada", at(0))?);
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
