use std::fs;
use std::time::Duration;

use chrono::{DateTime, Utc};

use crate::feed::test_server::{Reply, TestServer};
use crate::feed::{Caller, Client, Limits};
use crate::runner::due::{DayRuns, due};
use crate::runner::fetching::Fetched;
use crate::runner::jobs::Workshop;
use crate::runner::test_farm::{TestFarm, instant};

use super::*;

/// A farm whose station is asked at a server, and what it would answer.
fn farm(server: &TestServer) -> TestFarm {
    // Midnight there.
    TestFarm::asking("2022-06-20T07:00:00Z", server)
}

/// The workshop as after a restart, with a client that does not really wait between its tries.
fn restarted(farm: &TestFarm) -> Workshop {
    let limits = Limits {
        first_wait: Duration::from_millis(1),
        ..Limits::default()
    };
    Workshop {
        client: Arc::new(Client::new(limits, Caller::default()).unwrap()),
        ..farm.workshop()
    }
}

/// Does the fetches that are due, as the loop would.
async fn fetch_due(workshop: &Workshop, now: DateTime<Utc>) -> Vec<Fetched> {
    let day = workshop.config.day_of(now);
    let runs = workshop.store.read(move |c| DayRuns::read(c, day)).await;
    let mut fetched = Vec::new();
    for job in due(&workshop.config, &runs.unwrap(), now) {
        if job != Job::Tell {
            fetched.push(workshop.fetch(job, day, None).await.unwrap());
        }
    }
    fetched
}

#[tokio::test]
async fn a_feed_that_is_down_for_three_days_is_asked_at_most_forty_times() {
    let down = Reply::answer("503 Service Unavailable", &[], "down for maintenance");
    let server = TestServer::start(vec![down]);
    let farm = farm(&server);
    let mut workshop = restarted(&farm);
    let mut by_day = Vec::new();
    for _ in 0..3 {
        let before = server.requests().len();
        for _ in 0..24 * 30 {
            let now = farm.clock.now() + TimeDelta::minutes(2);
            farm.clock.set(now);
            fetch_due(&workshop, now).await;
        }
        by_day.push(server.requests().len() - before);
        workshop = restarted(&farm);
    }
    // Four at once and five later, then two at once and one later.
    assert_eq!(by_day, [12; 3]);
    // By hand it is asked all the same.
    let anew = workshop.store.write(|t| feed_pace::begin_anew(t)).await;
    anew.unwrap();
    let day = workshop.config.day_of(farm.clock.now());
    workshop.fetch(Job::Fetch, day, None).await.unwrap();
    assert_eq!(server.requests().len(), 3 * 12 + 4);
}

#[tokio::test]
async fn a_service_that_asks_to_be_left_alone_is_also_by_later_jobs_and_after_a_restart() {
    for header in [
        &["retry-after: 3600"][..],
        &[
            "date: Mon, 20 Jun 2022 11:00:00 GMT",
            "retry-after: Mon, 20 Jun 2022 12:00:00 GMT",
        ],
    ] {
        let later = Reply::answer("429 Too Many Requests", header, "");
        let table = TestFarm::new("2022-06-20T00:00:00Z");
        let table = fs::read(table.file("yard.csv")).unwrap();
        let server = TestServer::start(vec![later, Reply::ok(table)]);
        let farm = farm(&server);
        let mut failed = Vec::new();
        for minute in (0..=70).step_by(2) {
            let now = instant("2022-06-20T11:00:00Z") + TimeDelta::minutes(minute);
            farm.clock.set(now);
            let fetched = fetch_due(&restarted(&farm), now).await;
            failed.extend(fetched.into_iter().flat_map(|fetched| fetched.failed));
            let expected = if minute < 60 { 1 } else { 2 };
            let asked = server.requests().len();
            assert!(asked <= expected, "{asked} requests at minute {minute}");
        }
        assert_eq!(server.requests().len(), 2);
        let (_, why) = failed.last().unwrap();
        assert!(
            why.contains("to be left alone until 2022-06-20 12:00 UTC"),
            "{why}"
        );
    }
}
