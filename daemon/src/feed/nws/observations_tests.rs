use std::time::Duration;

use proptest::prelude::*;

use super::*;
use crate::feed::samples::{day, sample};
use crate::feed::test_server::{Reply, TestServer};
use crate::feed::{Caller, FeedSource, Limits};

const VALLEY: Tz = Tz::America__Los_Angeles;

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn feed(base_url: &str) -> NwsFeed {
    let feed: NwsFeed =
        toml::from_str(&format!("station = 'kmce'\nbase_url = '{base_url}'")).unwrap();
    NwsFeed {
        zone: VALLEY,
        ..feed
    }
}

/// Readings of the Fourth of July by standard time, at 53 minutes past each of these hours.
fn hourly(hours: impl IntoIterator<Item = i64>) -> Vec<Reading> {
    let start = at("2024-07-04T08:00:00Z");
    let reading = |hour: i64| Reading {
        at: start + TimeDelta::hours(hour) + TimeDelta::minutes(53),
        celsius: 20.0 + hour as f64,
    };
    hours.into_iter().map(reading).collect()
}

fn of_fourth(readings: &[Reading]) -> Option<(f64, f64)> {
    let day = extremes(readings, VALLEY, date("2024-07-04"))?;
    Some((day.min?, day.max?))
}

#[test]
fn a_day_is_asked_for_by_standard_time_with_what_came_just_after_it() {
    let feed: NwsFeed = toml::from_str("station = 'KMCE'").unwrap();
    let feed = NwsFeed {
        zone: VALLEY,
        ..feed
    };
    for (day, start, end) in [
        (
            "2024-07-04",
            "2024-07-04T08%3A00%3A00Z",
            "2024-07-05T10%3A00%3A00Z",
        ),
        (
            "2024-01-04",
            "2024-01-04T08%3A00%3A00Z",
            "2024-01-05T10%3A00%3A00Z",
        ),
        (
            "2024-03-10",
            "2024-03-10T08%3A00%3A00Z",
            "2024-03-11T10%3A00%3A00Z",
        ),
    ] {
        assert_eq!(
            feed.url(date(day)).whole().as_str(),
            format!(
                "https://api.weather.gov/stations/KMCE/observations?start={start}&end={end}&limit=500"
            )
        );
    }
    for wrong in ["", "KM", "KMCE,KFAT", "K MCE"] {
        let error = toml::from_str::<NwsFeed>(&format!("station = '{wrong}'")).unwrap_err();
        assert!(error.to_string().contains("such as KMCE"), "{error}");
    }
}

#[test]
fn a_day_counts_once_it_has_ended_and_enough_of_its_hours_are_there() {
    assert_eq!(of_fourth(&hourly(0..=24)), Some((20.0, 43.0)));
    assert_eq!(
        of_fourth(&hourly(0..24)),
        None,
        "nothing says that it has ended"
    );
    let without = |gone: &[i64]| of_fourth(&hourly((0..=24).filter(|hour| !gone.contains(hour))));
    assert_eq!(without(&[0, 8, 20, 23]), Some((21.0, 42.0)));
    assert_eq!(without(&[0, 8, 9, 20, 23]), None, "19 of 24 hours");
    for hour in [3, 4, 5, 6, 13, 14, 15, 16] {
        assert_eq!(without(&[hour]), None, "{hour}");
    }
    for hour in [2, 7, 12, 17] {
        assert!(without(&[hour]).is_some(), "{hour}");
    }
    assert_eq!(of_fourth(&[]), None);
}

#[test]
fn readings_of_other_days_do_not_count() {
    let mut readings = hourly(0..=24);
    let other = |text: &str, celsius| Reading {
        at: at(text),
        celsius,
    };
    readings.push(other("2024-07-04T07:59:59Z", 50.0));
    readings.push(other("2024-07-05T08:00:00Z", -50.0));
    assert_eq!(of_fourth(&readings), Some((20.0, 43.0)));
    readings.push(other("2024-07-04T08:00:00Z", 10.0));
    readings.push(other("2024-07-05T07:59:59Z", 48.0));
    assert_eq!(of_fourth(&readings), Some((10.0, 48.0)));
}

#[test]
fn a_whole_day_is_read_and_its_extremes_found() {
    let page = parse(&sample("nws/day.json"), "KMCE").unwrap();
    assert_eq!((page.features, page.readings.len()), (26, 26));
    assert_eq!(page.oldest, Some(at("2024-07-04T08:53:00Z")));
    let found = extremes(&page.readings, VALLEY, date("2024-07-04"));
    assert_eq!(
        found,
        Some(day("2024-07-04", Some(20.1), Some(39.9), Unit::Celsius))
    );
    assert_eq!(extremes(&page.readings, VALLEY, date("2024-07-05")), None);
}

#[test]
fn null_and_missing_values_are_no_readings_in_real_answers() {
    let read = |name: &str| parse(&sample(&format!("nws/{name}.json")), "KFLL").unwrap();
    assert_eq!(read("null_report").readings, []);
    assert_eq!(read("bare_report").features, 1);
    assert_eq!(read("bare_report").readings, []);
    let two = read("two_reports");
    let expected = Reading {
        at: at("2019-06-27T10:53:00Z"),
        celsius: 10.0,
    };
    assert_eq!((two.features, &two.readings[..]), (2, &[expected][..]));
}

fn report(unit: &str, flag: &str) -> String {
    format!(
        r#"{{"features":[{{"properties":{{"timestamp":"2024-07-04T20:53:00+00:00",
        "temperature":{{"unitCode":"{unit}","value":38.9,"qualityControl":{flag}}}}}}}]}}"#
    )
}

#[test]
fn flags_and_units_count_with_any_prefix() {
    let count = |unit: &str, flag: &str| {
        parse(report(unit, flag).as_bytes(), "KMCE")
            .unwrap()
            .readings
            .len()
    };
    for flag in ["V", "qc:V", "S", "C", "Z", "G"] {
        assert_eq!(count("wmoUnit:degC", &format!("\"{flag}\"")), 1, "{flag}");
    }
    assert_eq!(count("unit:degC", "null"), 1);
    for flag in ["X", "qc:Q", "B", "T", "?", ""] {
        assert_eq!(count("wmoUnit:degC", &format!("\"{flag}\"")), 0, "{flag}");
    }
    let error = parse(report("wmoUnit:degF", "\"V\"").as_bytes(), "KMCE").unwrap_err();
    assert_eq!(
        error.to_string(),
        "the answer is in the unit \"wmoUnit:degF\" and not in degC"
    );
}

#[test]
fn an_answer_that_is_no_reports_of_the_station_says_what_it_is() {
    let check = |answer: &[u8], part: &str| {
        let words = error_chain(&parse(answer, "KMCE").unwrap_err());
        assert!(words.contains(part), "{words}");
    };
    check(b"", "empty");
    check(&sample("nws/proxy.html"), "a web page");
    check(
        &sample("nws/problem_500.json"),
        "Unexpected Problem: An unexpected problem",
    );
    check(&sample("nws/problem_503.json"), "has expired");
    check(
        &sample("nws/two_reports.json"),
        "another station than \"KMCE\": \"KFLL\"",
    );
    check(&sample("nws/one_report.json"), "missing field `features`");
    check(&sample("nws/latest.json"), "missing field `features`");
    let renamed = String::from_utf8(sample("nws/day.json")).unwrap();
    check(
        renamed
            .replace("\"temperature\"", "\"airTemperature\"")
            .as_bytes(),
        "no day has the field temperature; the fields are \"airTemperature\"",
    );
    let none = parse(br#"{"type":"FeatureCollection","features":[]}"#, "KMCE").unwrap();
    assert_eq!(none, Page::default());
}

async fn asked(server: &TestServer, from: &str, to: &str) -> Result<FetchedDays, FeedError> {
    asked_within(server, (from, to), Limits::default().overall).await
}

async fn asked_within(
    server: &TestServer,
    (from, to): (&str, &str),
    overall: Duration,
) -> Result<FetchedDays, FeedError> {
    let limits = Limits {
        tries: 1,
        overall,
        ..Limits::default()
    };
    let client = Client::new(limits, Caller::default()).unwrap();
    let feed = FeedSource::Nws(feed(server.url("").whole().as_str()));
    crate::feed::fetch(&client, &feed, date(from), date(to)).await
}

/// Reports every five minutes from one instant back to another, newest first.
fn every_five_minutes(newest: &str, oldest: &str) -> String {
    let (newest, oldest) = (at(newest), at(oldest));
    let times = std::iter::successors(Some(newest), |at| Some(*at - TimeDelta::minutes(5)));
    let times = times.take_while(|at| *at >= oldest);
    let reports = times.map(|at| {
        format!(
            r#"{{"properties":{{"timestamp":"{}","temperature":{{"unitCode":"wmoUnit:degC","value":{},
            "qualityControl":"V"}}}}}}"#,
            at.to_rfc3339(),
            (at - oldest).num_minutes() as f64 / 60.0
        )
    });
    let reports: Vec<String> = reports.collect();
    format!(r#"{{"features":[{}]}}"#, reports.join(","))
}

#[tokio::test]
async fn an_answer_that_was_cut_is_asked_on_until_the_day_is_whole() {
    let server = TestServer::start(vec![
        Reply::ok(every_five_minutes(
            "2024-07-05T10:00:00Z",
            "2024-07-04T17:25:00Z",
        )),
        Reply::ok(every_five_minutes(
            "2024-07-04T17:25:00Z",
            "2024-07-04T08:00:00Z",
        )),
    ]);
    let fetched = asked(&server, "2024-07-04", "2024-07-04").await.unwrap();
    assert_eq!(fetched.days.len(), 1);
    assert_eq!(fetched.days[0].date, date("2024-07-04"));
    let requests = server.requests();
    assert_eq!(requests.len(), 2);
    assert!(
        requests[1].contains("end=2024-07-04T17%3A25%3A00Z"),
        "{}",
        requests[1]
    );
    // A page of the newest alone is no day.
    let cut = TestServer::start(vec![
        Reply::ok(every_five_minutes(
            "2024-07-05T10:00:00Z",
            "2024-07-04T17:25:00Z",
        )),
        Reply::ok(r#"{"features":[]}"#),
    ]);
    let fetched = asked(&cut, "2024-07-04", "2024-07-04").await.unwrap();
    assert_eq!(fetched, FetchedDays::default());
}

#[tokio::test]
async fn days_are_asked_for_newest_first_and_none_that_is_gone() {
    let day = Reply::ok(sample("nws/day.json"));
    let none = Reply::ok(r#"{"features":[]}"#);
    let gone = Reply::answer("404 Not Found", &[], "");
    let server = TestServer::start(vec![day.clone(), none, gone]);
    let fetched = asked(&server, "1994-01-01", "2024-07-04").await.unwrap();
    assert_eq!(fetched.days.len(), 1);
    let starts = |requests: Vec<String>| -> Vec<String> {
        let start = |request: &String| request.split("start=").nth(1).unwrap()[..10].to_owned();
        requests.iter().map(start).collect()
    };
    let expected = ["2024-07-04", "2024-07-03", "2024-07-02"];
    assert_eq!(starts(server.requests()), expected);
    let empty = vec![Reply::ok(r#"{"features":[]}"#); 8];
    let server = TestServer::start(empty);
    asked(&server, "1994-01-01", "2024-07-04").await.unwrap();
    assert_eq!(server.requests().len(), 7);
    let down = TestServer::start(vec![Reply::answer("403 Forbidden", &[], "no contact")]);
    let error = asked(&down, "2024-07-01", "2024-07-04").await.unwrap_err();
    assert!(error.to_string().contains("403"), "{error}");
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(answer in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = parse(&answer, "KMCE");
    }

    #[test]
    fn no_change_of_one_byte_makes_it_panic_or_gives_a_number_that_is_none(
        place in 0..20_000_usize, byte in any::<u8>()
    ) {
        let mut answer = sample("nws/day.json");
        let place = place % answer.len();
        answer[place] = byte;
        if let Ok(page) = parse(&answer, "KMCE") {
            prop_assert!(page.readings.iter().all(|reading| reading.celsius.is_finite()));
            let _ = extremes(&page.readings, VALLEY, date("2024-07-04"));
        }
    }
}

#[tokio::test]
async fn a_service_that_hangs_costs_no_more_time_for_seven_days_than_for_one_and_what_came_stands()
{
    let day = every_five_minutes("2024-07-05T10:00:00Z", "2024-07-04T08:00:00Z");
    let whole = TestServer::start(vec![Reply::ok(day), Reply::Silence]);
    let stretch = ("2024-06-28", "2024-07-04");
    let patience = Duration::from_secs(2);
    let fetched = asked_within(&whole, stretch, patience).await.unwrap();
    assert_eq!(fetched.days.len(), 1);
    let silent = TestServer::start(vec![Reply::Silence]);
    let error = asked_within(&silent, stretch, patience).await.unwrap_err();
    assert!(error.is_silence(), "{error}");
    assert_eq!(silent.requests().len(), 1);
}
