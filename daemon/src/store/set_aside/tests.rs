use duskflight_core::id::StationId;
use duskflight_core::ledger::MailKind;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;

use super::*;
use crate::store::days::{self, Fetch};
use crate::store::jobs::{self, Job};
use crate::store::journal::match_up;
use crate::store::outbox;
use crate::store::sample::{at, column, mail, records};

fn june(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
}

/// Records of 20 June, and of a clock that was ten days ahead for a while after it: a digest was sent and an alert
/// waits behind it, by mails of 30 June; days were fetched.
fn ten_days_ahead(c: &Connection) {
    let station = StationId::new("yard").unwrap();
    for (name, days_ahead) in [("today", 0), ("ahead", 10)] {
        let (now, on) = (at(24 * days_ahead), june(20) + TimeDelta::days(days_ahead));
        let received = ReceivedDay {
            date: on - TimeDelta::days(1),
            min: Some(60.0),
            max: Some(90.0),
            unit: Unit::Fahrenheit,
            min_flag: None,
            max_flag: None,
        };
        days::merge(c, &station, "test", &[received], now).unwrap();
        let fetch = Fetch {
            station: station.clone(),
            from: june(1),
            to: on - TimeDelta::days(1),
            at: now,
            outcome: Ok((1, 1)),
            remarks: None,
        };
        days::log(c, &fetch).unwrap();
        for job in [Job::Fetch, Job::Tell] {
            jobs::begin(c, job, on, now).unwrap();
            jobs::finish(c, job, on, now, None).unwrap();
        }
        outbox::queue(c, &mail(name, MailKind::Digest, "ada", days_ahead)).unwrap();
        outbox::mark_sent(c, name, "taken", now).unwrap();
        c.execute(
            "INSERT INTO told VALUES (2022, 'b', 'now', ?1, 'ada', 1, '2022-06-19', ?2, ?1, 'new', 1)",
            params![name, on.to_string()],
        )
        .unwrap();
    }
    let mut alert = mail("alert", MailKind::Alert, "gil", 10);
    alert.waits_for = vec!["ahead".to_owned()];
    outbox::queue(c, &alert).unwrap();
}

#[test]
fn what_was_told_for_days_that_have_not_come_is_set_aside_and_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    let journal = dir.path().join("journal");
    let c = records(dir.path());
    ten_days_ahead(&c);
    match_up(&c, &journal, at(24 * 10)).unwrap();
    let now = at(1);
    assert_eq!(ahead(&c, june(20), now).unwrap(), Ahead::Work);
    let counts = [
        ("notices", 1),
        ("mails", 2),
        ("jobs", 2),
        ("fetches", 1),
        ("station days", 1),
    ];
    assert_eq!(owed(&c, june(20), now).unwrap(), counts);
    assert_eq!(set_aside(&c, &journal, june(20), now).unwrap(), counts);
    assert_eq!(ahead(&c, june(20), now).unwrap(), Ahead::Nothing);
    assert_eq!(column(&c, "SELECT message_id FROM outbox"), ["today"]);
    assert_eq!(column(&c, "SELECT event FROM told"), ["today"]);
    assert_eq!(
        column(&c, "SELECT DISTINCT day FROM job_run"),
        ["2022-06-20"]
    );
    assert_eq!(column(&c, "SELECT day FROM station_day"), ["2022-06-19"]);
    let kept = "SELECT content ->> 'subject' FROM set_aside WHERE record = 'outbox' ORDER BY id";
    assert_eq!(column(&c, kept), ["ahead", "alert"]);

    // The journal does not bring it back, and what a copy of before it has not is learnt all the same.
    assert_eq!(match_up(&c, &journal, now).unwrap().learnt.len(), 0);
    let older = tempfile::tempdir().unwrap();
    let older = records(older.path());
    assert_eq!(match_up(&older, &journal, now).unwrap().learnt.len(), 1);
    assert_eq!(column(&older, "SELECT message_id FROM outbox"), ["today"]);

    // On the day itself it is told, and written down.
    outbox::queue(&c, &mail("ahead", MailKind::Digest, "ada", 10)).unwrap();
    outbox::mark_sent(&c, "ahead", "taken", at(240)).unwrap();
    assert_eq!(match_up(&c, &journal, at(241)).unwrap().written, 1);
    assert_eq!(match_up(&older, &journal, at(241)).unwrap().learnt.len(), 1);
}

#[test]
fn what_is_true_but_was_dated_ahead_lands_now() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    c.execute_batch(
        "INSERT INTO visit VALUES ('e1', '2022-06-18', 3, NULL, NULL, NULL, 1, '', '', 1971000000, 'ada', 'add', 'a', 0)",
    )
    .unwrap();
    outbox::queue(&c, &mail("today", MailKind::Digest, "ada", 0)).unwrap();
    outbox::mark_sent(&c, "today", "taken", at(30)).unwrap();
    outbox::queue(&c, &mail("alert", MailKind::Alert, "gil", 0)).unwrap();
    outbox::keep(&c, "alert", "no answer", at(24 * 365)).unwrap();
    let now = at(2);
    assert_eq!(ahead(&c, june(20), now).unwrap(), Ahead::Traces);
    assert_eq!(
        set_aside(&c, &dir.path().join("none"), june(20), now).unwrap(),
        []
    );
    let landed = [now.timestamp().to_string()];
    assert_eq!(column(&c, "SELECT entered_at FROM visit"), landed);
    assert_eq!(
        column(&c, "SELECT sent_at FROM outbox WHERE state = 'sent'"),
        landed
    );
    assert_eq!(
        column(&c, "SELECT next_try_at FROM outbox WHERE state = 'queued'"),
        landed
    );
    assert_eq!(ahead(&c, june(20), now).unwrap(), Ahead::Nothing);
}
