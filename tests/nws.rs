//! Feeds of the US National Weather Service, which keeps a week of readings and wants to know who asks.

use std::collections::BTreeSet;

use chrono::{DateTime, Duration, Utc};
use serde_json::{Value, json};

use crate::answering::Answering;
use crate::harness::{Farm, printed, rows, run};

/// Hourly readings at 53 minutes past, newest first, as the service has them.
fn service() -> Answering {
    Answering::start(|url| {
        let asked = |wanted: &str| -> Option<DateTime<Utc>> {
            let (_, value) = url.query_pairs().find(|(name, _)| name == wanted)?;
            value.parse().ok()
        };
        let (start, end) = (asked("start")?, asked("end")?);
        let times = std::iter::successors(Some(end - Duration::minutes(7)), |at| {
            Some(*at - Duration::hours(1))
        });
        let features: Vec<Value> = times
            .take_while(|at| *at >= start)
            .map(|at| {
                let temperature =
                    json!({"unitCode": "wmoUnit:degC", "value": 25.0, "qualityControl": "V"});
                json!({"properties": {"timestamp": at.to_rfc3339(), "temperature": temperature}})
            })
            .collect();
        Some(json!({"type": "FeatureCollection", "features": features}).to_string())
    })
}

fn farm_at(service: &Answering) -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.has_feed(&format!(
        "[station.nws]\nstation = \"KMCE\"\nbase_url = \"{}\"\n",
        service.url("")
    ));
    farm
}

/// The civil days that were asked for.
fn days_asked(service: &Answering) -> BTreeSet<String> {
    let asked = service.asked();
    let starts = asked.iter().filter_map(|url| {
        let (_, start) = url.query_pairs().find(|(name, _)| name == "start")?;
        Some(start[..10].to_owned())
    });
    starts.collect()
}

#[test]
fn a_feed_that_keeps_a_week_is_never_asked_for_what_is_gone() {
    let service = service();
    let farm = farm_at(&service);
    farm.nightly("2022-04-28");
    let week: BTreeSet<String> = (21..=27).map(|day| format!("2022-04-{day}")).collect();
    assert_eq!((days_asked(&service), service.asked().len()), (week, 7));
    let stored = "SELECT min(day), max(day), count(*) FROM station_day";
    let of_week = [["2022-04-21", "2022-04-27", "7"]];
    assert_eq!(rows(&farm.database(), stored), of_week);
    farm.nightly("2022-04-29");
    assert_eq!(
        service.asked().len(),
        9,
        "the new day, and the one before that may have been late"
    );
    let newest = "SELECT max(day), count(*) FROM station_day";
    assert_eq!(rows(&farm.database(), newest), [["2022-04-28", "8"]]);
}

#[test]
fn check_says_what_the_service_wants_and_does_not_have() {
    let service = service();
    let farm = farm_at(&service);
    let said = printed(&["check", "--config", farm.config()]);
    assert!(
        said.contains("station yard: its service keeps no more than 7 days"),
        "{said}"
    );
    let contact =
        "station yard: the US National Weather Service refuses callers that name no contact";
    assert!(said.contains(contact), "{said}");
    farm.change("[farm]\n", "[farm]\noperator = \"ada@test.example\"\n");
    let said = run(&["check", "--config", farm.config()]);
    let said = String::from_utf8(said.stdout).unwrap();
    assert!(!said.contains("refuses callers"), "{said}");
}
