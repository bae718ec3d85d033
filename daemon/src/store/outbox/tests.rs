use std::collections::BTreeSet;
use std::future::Future;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::MailKind;
use rusqlite::Connection;

use super::*;
use crate::store::{Store, StoreError, alerts, made};

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
    let store = Store::create(&dir.path().join("records.sqlite")).unwrap();
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
        let store = Store::create(&path).unwrap();
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
    while let Some(mail) = store.write(|t| take(t, None, at(50))).await.unwrap() {
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

#[tokio::test]
async fn a_mail_is_made_once_of_its_identity_and_the_message_id_is_no_part_of_it() {
    let digest = mail("<a@old.example>", MailKind::Digest, "ada", None);
    with_outbox(vec![digest.clone()], move |c| {
        let renamed = NewMail {
            message_id: "<a@new.example>".to_owned(),
            ..digest.clone()
        };
        assert!(made::of_day(c, renamed.day)?.contains(&renamed.identity()));
        assert!(queue(c, &renamed).is_err());
        let other = NewMail {
            about: "north".to_owned(),
            ..renamed
        };
        assert!(!made::of_day(c, other.day)?.contains(&other.identity()));
        queue(c, &other)?;
        assert!(made::of_day(c, other.day)?.contains(&other.identity()));
        Ok(())
    })
    .await;
}

#[tokio::test]
async fn a_line_that_is_added_while_an_alert_is_being_rendered_stays() {
    let alert = NewMail {
        body: None,
        contents: Some("{}".to_owned()),
        ..mail("alert", MailKind::Alert, "gil", None)
    };
    with_outbox(vec![alert], |c| {
        let being_rendered = to_compose(c, 0)?.unwrap();
        assert!(alerts::rewrite(c, "alert", b"with a line", "{\"a\":1}")?);
        assert!(!freeze(c, &being_rendered.message_id, b"without it")?);
        assert_eq!(next(c, at(5))?.unwrap().body, b"with a line");
        Ok(())
    })
    .await;
}

#[tokio::test]
async fn a_mail_without_bytes_waits_for_them_and_those_that_came_first_stay() {
    let later = NewMail {
        body: None,
        contents: Some("{\"a\":1}".to_owned()),
        ..mail("later", MailKind::Digest, "ada", None)
    };
    with_outbox(vec![later], |c| {
        assert_eq!(next_id(c, 5), None);
        let wanted = to_compose(c, 0)?.unwrap();
        let said = (&*wanted.message_id, &*wanted.contents);
        assert_eq!(said, ("later", "{\"a\":1}"));
        assert_eq!(to_compose(c, wanted.place)?, None);
        assert!(freeze(c, "later", b"bytes")?);
        assert!(!freeze(c, "later", b"others")?);
        assert_eq!(to_compose(c, 0)?, None);
        assert_eq!(next(c, at(5))?.unwrap().body, b"bytes");
        Ok(())
    })
    .await;
}

/// Tables and functions that a statement may go through as a whole: they have few rows.
const SMALL: [&str; 3] = ["mail_trouble", "json_each", "CONSTANT"];
/// How much was entered can only be counted.
const COUNTED: [&str; 2] = [
    "SELECT (SELECT count(*) FROM ",
    "SELECT count(*) FROM (SELECT ",
];

#[test]
fn no_question_of_telling_or_delivery_goes_through_all_mails_or_readings() {
    use std::sync::{Arc, Mutex};

    use rusqlite::trace::{TraceEvent, TraceEventCodes};

    use crate::store::{days, folding, journal, outbox_report, sample, told, visits};

    let dir = tempfile::tempdir().unwrap();
    let mut connection = sample::records(dir.path());
    let asked = Arc::new(Mutex::new(BTreeSet::new()));
    let listed = Arc::clone(&asked);
    let listen = move |event: TraceEvent<'_>| {
        if let TraceEvent::Stmt(statement, _) = event {
            listed.lock().unwrap().insert(statement.sql().into_owned());
        }
    };
    connection
        .trace_v2(TraceEventCodes::SQLITE_TRACE_STMT, Some(listen))
        .unwrap();
    ask_all(&connection, dir.path()).unwrap();
    connection
        .trace_v2(TraceEventCodes::empty(), None::<fn(TraceEvent<'_>)>)
        .unwrap();

    let asked = asked.lock().unwrap().clone();
    assert!(asked.len() > 25, "{}", asked.len());
    for sql in asked
        .iter()
        .filter(|sql| !COUNTED.iter().any(|of| sql.starts_with(of)))
    {
        let plan = format!("EXPLAIN QUERY PLAN {sql}");
        let mut plan = connection.prepare(&plan).unwrap();
        let mut steps = plan.raw_query();
        while let Some(step) = steps.next().unwrap() {
            let step: String = step.get("detail").unwrap();
            let scanned = step.strip_prefix("SCAN ").unwrap_or("CONSTANT");
            let small = SMALL.iter().any(|name| scanned.starts_with(name));
            assert!(small, "{step}\n{sql}");
        }
    }

    fn ask_all(c: &Connection, folder: &std::path::Path) -> Result<(), StoreError> {
        let (ada, gil) = (sample::person("ada"), sample::person("gil"));
        let today = NaiveDate::from_ymd_opt(2022, 6, 21).unwrap();
        for (id, kind, who) in [
            ("d", MailKind::Digest, "ada"),
            ("f", MailKind::Digest, "bo"),
            ("s", MailKind::Summary, "gil"),
        ] {
            let mut mail = sample::mail(id, kind, who, 0);
            mail.waits_for = Vec::from_iter((kind == MailKind::Summary).then(|| "d".to_owned()));
            mail.adviser = mail.adviser.filter(|_| kind != MailKind::Summary);
            assert!(!made::of_day(c, mail.day)?.contains(&mail.identity()));
            queue(c, &mail)?;
        }
        may_leave(c, at(0))?;
        count_try(c, "d", at(0))?;
        set_doubtful(c, "d", false)?;
        count_refusal(c, "d")?;
        keep(c, "d", "no answer", at(1))?;
        next(c, at(2))?;
        mark_sent(c, "d", "taken", at(2))?;
        give_up(c, "f", End::Failed, "no such user", at(2))?;
        expire_queued_up_to(c, at(-1), "no answer", at(2))?;
        to_compose(c, 0)?;
        freeze(c, "s", b"bytes")?;
        made::newest_digest(c, &ada, today)?;
        made::newest_day(c, today)?;
        outbox_report::trouble(c)?;
        outbox_report::errors(c, None)?;
        outbox_report::given_up_since(c, "ada", at(0))?;
        outbox_report::late_since(c, "ada", at(0), TimeDelta::hours(2))?;
        let queue = read_queue(c)?;
        folding::fold(c, &queue, &gil, today, TimeDelta::hours(1), at(99), "into")?;
        folding::silent_from(c, &gil, &ada)?;
        folding::wait_for_newer(c, &ada, "d")?;
        crate::store::alerts::waiting(c, &queue)?;
        told::latest(c, 2022, today)?;
        let station = duskflight_core::id::StationId::new("yard").unwrap();
        days::changed(c, &station, today, at(0)..at(2))?;
        visits::entered_late(c, at(0)..at(2), today)?;
        visits::withdrawn(c, at(0)..at(2))?;
        let matched = journal::match_up(c, &folder.join("journal"), at(3));
        assert_eq!(matched.unwrap().written, 1);
        Ok(())
    }
}
