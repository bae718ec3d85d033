use std::fs;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use chrono::TimeDelta;

use super::*;
use crate::clock::SetClock;
use crate::records::{Kind, Origin, import};
use crate::runner::test_farm::{TestFarm, instant, june};
use crate::store::visits;

/// A clock that goes on by an hour whenever somebody looks at it.
#[derive(Debug)]
struct Passing(AtomicI64);

impl Passing {
    fn from(text: &str) -> Arc<dyn Clock> {
        Arc::new(Self(AtomicI64::new(instant(text).timestamp())))
    }
}

impl Clock for Passing {
    fn now(&self) -> DateTime<Utc> {
        let now = self.0.fetch_add(3600, Ordering::Relaxed);
        DateTime::from_timestamp(now, 0).unwrap()
    }
}

/// The digest of a day, as text.
async fn digest(farm: &TestFarm, day: u32) -> String {
    let now = instant("2022-06-20T13:00:00Z") + TimeDelta::days(i64::from(day) - 20);
    let workshop = Workshop {
        clock: Arc::new(SetClock::at(now)),
        ..farm.workshop()
    };
    workshop.tell(june(day), false, now).await.unwrap();
    workshop.deliver().await.unwrap();
    let mails = fs::read_dir(farm.file("mail")).unwrap();
    let mut mails = mails.map(|mail| mail.unwrap().path());
    let of_day = mails.find(|mail| mail.to_string_lossy().contains(&june(day).to_string()));
    let mail = fs::read_to_string(of_day.unwrap()).unwrap();
    mail.replace("=\r\n", "")
}

#[tokio::test]
async fn a_fetch_that_begins_before_a_telling_and_lands_after_it_is_listed_the_next_morning() {
    let farm = TestFarm::new("2022-06-20T11:00:00Z");
    let before = farm.workshop();
    before.fetch(Job::Fetch, june(20), None).await.unwrap();
    let slow = Workshop {
        clock: Passing::from("2022-06-20T12:30:00Z"),
        ..before
    };
    let revised = "revised since the last digest";
    assert!(!digest(&farm, 20).await.contains(revised));
    farm.change("yard.csv", "2022-06-10,60", "2022-06-10,66");
    let fetched = slow.fetch(Job::FetchLate, june(20), None).await.unwrap();
    assert_eq!((fetched.changed, fetched.failed.len()), (1, 0));
    let next = digest(&farm, 21).await;
    assert!(next.contains(revised), "{next}");
    assert!(
        !digest(&farm, 22).await.contains(revised),
        "it is told twice"
    );
}

#[tokio::test]
async fn a_sheet_is_entered_when_it_lands_and_not_when_it_was_looked_at() {
    let farm = TestFarm::new("2022-06-20T11:00:00Z");
    farm.change("traps.csv", "2026-03-15", "2022-03-15");
    let Workshop { store, config, .. } = farm.workshop();
    let origin = Origin {
        file: "round.csv".to_owned(),
        by: "Ada".to_owned(),
        sure: false,
    };
    let sheet = "date,trap,eggs\n2022-06-18,home-e1,4\n";
    let clock = Passing::from("2022-06-20T12:30:00Z");
    let imported = import(&store, &config, Kind::Visits, sheet, &origin, &clock).await;
    assert_eq!(imported.unwrap().added, 1);
    let after = instant("2022-06-20T13:00:00Z")..instant("2022-06-21T13:00:00Z");
    let late = store.read(move |c| visits::entered_late(c, after, june(20)));
    assert_eq!(late.await.unwrap().len(), 1);
}

#[tokio::test]
async fn two_first_hull_splits_of_one_variety_are_told_once_on_the_morning_after_the_second() {
    let farm = TestFarm::new("2022-06-20T11:00:00Z");
    let Workshop { store, config, .. } = farm.workshop();
    let enter = async |at: &str, seen: &str| {
        let origin = Origin {
            file: "split.csv".to_owned(),
            by: "Ada".to_owned(),
            sure: false,
        };
        let sheet = format!("date,block,variety,kind\n{seen},home,Nonpareil,hull-split\n");
        let clock: Arc<dyn Clock> = Arc::new(SetClock::at(instant(at)));
        let imported = import(&store, &config, Kind::Notes, &sheet, &origin, &clock).await;
        assert_eq!(imported.unwrap().added, 1);
    };
    let said =
        "two first hull splits are noted, Jun 10 and Jun 17; the one entered last counts, Jun 17";
    enter("2022-06-18T20:00:00Z", "2022-06-10").await;
    assert!(!digest(&farm, 20).await.contains("first hull splits"));
    enter("2022-06-20T20:00:00Z", "2022-06-17").await;
    let next = digest(&farm, 21).await;
    let next = next.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(next.contains(said), "{next}");
    assert!(!digest(&farm, 22).await.contains("first hull splits"));
}
