use chrono::NaiveDate;
use duskflight_core::id::StationId;
use duskflight_core::ledger::MailKind;

use super::*;
use crate::store::days::{self, Fetch};
use crate::store::jobs::{self, Job};
use crate::store::outbox::{End, queue};
use crate::store::sample::{at, column, mail, records};

fn days(count: i64) -> DateTime<Utc> {
    at(24 * count)
}

#[test]
fn what_a_mail_said_goes_so_long_after_it_was_accepted_or_given_up_and_its_row_stays() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    for (id, day) in [("waits", 0), ("sent", 1), ("sent-late", 2), ("given-up", 3)] {
        queue(&c, &mail(id, MailKind::Digest, "ada", day)).unwrap();
    }
    outbox::mark_sent(&c, "sent", "taken", days(1)).unwrap();
    outbox::mark_sent(&c, "sent-late", "taken", days(9)).unwrap();
    outbox::give_up(&c, "given-up", End::Failed, "no such user", days(3)).unwrap();
    let left = || column(&c, "SELECT message_id FROM mail_content ORDER BY rowid");
    let prune = |before| outbox::prune(&c, days(before), 1).unwrap();
    assert_eq!((prune(1), left().len()), (0, 4));
    assert_eq!((prune(5), left().len()), (1, 3), "so many at once");
    assert_eq!((prune(5), prune(5)), (1, 0));
    assert_eq!(left(), ["waits", "sent-late"]);
    assert_eq!((prune(99), prune(99)), (1, 0));
    assert_eq!(left(), ["waits"], "what waits is never pruned");
    assert_eq!(column(&c, "SELECT count(*) FROM outbox"), ["4"]);
}

fn fetch(station: &str, from: &str, to: &str, at: DateTime<Utc>, days: usize) -> Fetch {
    Fetch {
        station: StationId::new(station).unwrap(),
        from: from.parse().unwrap(),
        to: to.parse().unwrap(),
        at,
        outcome: Ok((days, 0)),
        remarks: None,
    }
}

#[test]
fn pruned_fetches_change_no_answer() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    for row in [
        fetch("a", "2010-01-01", "2010-12-31", days(0), 360),
        fetch("a", "2011-06-01", "2013-01-31", days(0), 600),
        fetch("a", "2022-01-01", "2022-06-19", days(0), 170),
        fetch("a", "2022-01-02", "2022-12-31", days(1), 170),
        fetch("silent", "2022-01-01", "2022-06-19", days(0), 170),
        fetch("a", "2023-05-01", "2023-07-01", days(410), 60),
    ] {
        days::log(&c, &row).unwrap();
    }
    let date = |text: &str| text.parse::<NaiveDate>().unwrap();
    let answers = || {
        let settled = [2010, 2012, 2013].map(|year| {
            let (from, to) = (format!("{year}-01-01"), format!("{year}-12-31"));
            let station = StationId::new("a").unwrap();
            days::is_settled(&c, &station, date(&from), date(&to)).unwrap()
        });
        let came_in = days::came_in_since(&c, days(0), date("2022-06-19")).unwrap();
        let stations = ["a", "silent"].map(|id| StationId::new(id).unwrap());
        (settled, came_in, days::newest(&c, &stations).unwrap())
    };
    let before = answers();
    assert_eq!(before.0, [true, true, false]);
    assert_eq!(prune_fetches(&c, days(10)).unwrap(), 2);
    assert_eq!(answers(), before);
}

#[test]
fn pruned_runs_leave_the_newest_and_the_first_and_newest_that_were_done() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    let first = NaiveDate::from_ymd_opt(2022, 6, 20).unwrap();
    let on = |day| first + TimeDelta::days(day);
    for day in 0..6 {
        jobs::begin(&c, Job::Tell, on(day), days(day)).unwrap();
        let error = (day == 0 || day > 3).then_some("no room");
        jobs::finish(&c, Job::Tell, on(day), days(day), error).unwrap();
    }
    let newest = |done| jobs::newest(&c, Job::Tell, done).unwrap();
    let before = (newest(false), newest(true));
    assert_eq!(prune_runs(&c, days(99)).unwrap(), 3);
    assert_eq!((newest(false), newest(true)), before);
    let told_before = |day| jobs::done_before(&c, Job::Tell, on(day)).unwrap();
    assert_eq!((told_before(1), told_before(2)), (None, Some(on(1))));
}

async fn number(store: Store, pragma: &'static str) -> i64 {
    let number: Result<i64, StoreError> = store
        .read(move |c| Ok(c.pragma_query_value(None, pragma, |row| row.get(0))?))
        .await;
    number.unwrap()
}

#[tokio::test]
async fn a_file_shrinks_once_what_its_mails_said_is_pruned_whatever_kind_it_was_made_as() {
    for old in [false, true] {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("records.sqlite");
        if old {
            let plain = Connection::open(&file).unwrap();
            plain.execute_batch("VACUUM").unwrap();
            plain.pragma_update(None, "auto_vacuum", "none").unwrap();
            plain
                .execute_batch("CREATE TABLE t (a); DROP TABLE t; VACUUM")
                .unwrap();
        }
        let store = Store::create(&file).unwrap();
        for day in 0..40 {
            let mut long = mail(&format!("m{day}"), MailKind::Digest, "ada", day);
            long.body = Some(vec![b'a'; 100_000]);
            let written: Result<(), StoreError> = store
                .write(move |t| {
                    queue(t, &long)?;
                    outbox::mark_sent(t, &long.message_id, "taken", long.queued_at)
                })
                .await;
            written.unwrap();
        }
        let pages = |store: &Store| number(store.clone(), "page_count");
        let kind = number(store.clone(), "auto_vacuum").await;
        assert_eq!(kind, if old { 0 } else { 2 });
        let before = pages(&store).await;
        let journal = dir.path().join("journal");
        let kept = TimeDelta::days(10);
        prune(&store, &journal, kept, days(40)).await.unwrap();
        let after = pages(&store).await;
        assert!(after * 3 < before, "{old}: {before} to {after} pages");
        assert_eq!(number(store.clone(), "auto_vacuum").await, 2);
        // Nothing more to give back: the room that is free is for the next nights.
        prune(&store, &journal, kept, days(40)).await.unwrap();
        // A page of SQLite's own bookkeeping may go with it.
        assert!(pages(&store).await.abs_diff(after) <= 1);
    }
}

#[test]
fn what_was_put_in_the_place_of_another_goes_after_two_seasons_and_what_stands_stays() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    c.execute_batch(
        "INSERT INTO station_day VALUES ('a', '2022-06-01', 60, 90, 'f', NULL, NULL, 'table', 1655730000);
         INSERT INTO station_day_history VALUES ('a', '2022-06-01', 50, 90, 'f', NULL, NULL, 'table', 1, 1655730000);
         INSERT INTO station_day_history VALUES ('a', '2022-06-01', 55, 90, 'f', NULL, NULL, 'table', 1, 1655830000);
         INSERT INTO visit VALUES ('e1', '2022-06-01', 7, NULL, NULL, NULL, 1, '', '', 9, 'ada', 'x', 'x:1', 0);
         INSERT INTO visit_history (trap, day, readable, serviced, note, entered_at, entered_by, via, entry_id, replaced_at)
           VALUES ('e1', '2022-06-01', 1, '', '', 8, 'ada', 'x', 'x:0', 9);
         INSERT INTO set_aside (at, record, content) VALUES (1655730000, 'told', '{}'), (1655830000, 'told', '{}');
         INSERT INTO feed_wait VALUES ('old.example.org', 1655730000, 1655730001);",
    )
    .unwrap();
    prune_superseded(&c, days(1)).unwrap();
    let left = |table| column(&c, &format!("SELECT count(*) FROM {table}")).remove(0);
    assert_eq!(
        column(&c, "SELECT CAST(tmin AS INTEGER) FROM station_day_history"),
        ["55"]
    );
    assert_eq!(column(&c, "SELECT at FROM set_aside"), ["1655830000"]);
    assert_eq!(left("feed_wait"), "0");
    for kept in ["station_day", "visit", "visit_history"] {
        assert_eq!(left(kept), "1", "{kept}");
    }
}

#[test]
fn a_past_year_that_failed_to_come_is_no_more_than_a_log() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    for (outcome, year) in [("failed", 2010), ("ok", 2011)] {
        c.execute(
            "INSERT INTO fetch_log (station, from_day, to_day, at, outcome, days, changed)
             VALUES ('a', ?2 || '-01-01', ?2 || '-12-31', 1, ?1, 0, 0)",
            params![outcome, year],
        )
        .unwrap();
    }
    c.execute_batch(
        "INSERT INTO fetch_log (station, from_day, to_day, at, outcome, days, changed)
         VALUES ('a', '2022-06-01', '2022-06-10', 2, 'ok', 10, 0)",
    )
    .unwrap();
    assert_eq!(prune_fetches(&c, days(10)).unwrap(), 1);
    assert_eq!(
        column(&c, "SELECT from_day FROM fetch_log"),
        ["2011-01-01", "2022-06-01"]
    );
}

#[test]
fn what_a_mail_waited_for_goes_once_it_left_long_ago() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    for (day, sent) in [(0, true), (1, false), (20, true)] {
        let digest = format!("d{day}");
        let mut alert = mail(&format!("a{day}"), MailKind::Alert, "gil", day);
        alert.waits_for = vec![digest.clone()];
        queue(&c, &mail(&digest, MailKind::Digest, "ada", day)).unwrap();
        queue(&c, &alert).unwrap();
        if sent {
            outbox::mark_sent(&c, &alert.message_id, "taken", alert.queued_at).unwrap();
        }
    }
    assert_eq!(prune_waits(&c, days(10)).unwrap(), 1);
    assert_eq!(
        column(&c, "SELECT mail FROM outbox_wait ORDER BY mail"),
        ["a1", "a20"]
    );
}
