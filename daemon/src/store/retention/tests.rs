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
        assert_eq!(pages(&store).await, after);
    }
}
