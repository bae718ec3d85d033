//! A feed from end to end: its request, a real answer, and only the days that were asked for.

use super::samples::{day, sample};
use super::test_server::{Reply, TestServer};
use super::*;
use crate::error_chain::error_chain;
use crate::secret::Secret;
use duskflight_core::temperature::Unit;

const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/data/feeds");

fn source(toml: &str) -> FeedSource {
    toml::from_str(toml).unwrap()
}

fn ncei(server: &TestServer) -> FeedSource {
    let base_url = server.url("/v1").whole().to_string();
    source(&format!(
        "ncei = {{ station = 'USW00093193', base_url = '{base_url}' }}"
    ))
}

fn table(place: &str) -> FeedSource {
    source(&format!(
        "[table]\nsource = '{place}'\ndate_column = 'Date'\nmin_column = 'Air min'\n\
         max_column = 'Air max'\nunit = 'c'\ndate_format = '%m/%d/%Y %H:%M'"
    ))
}

async fn asked(source: &FeedSource, from: &str, to: &str) -> Result<FetchedDays, FeedError> {
    let limits = Limits {
        tries: 1,
        ..Limits::default()
    };
    let client = Client::new(limits, Caller::default()).unwrap();
    fetch(&client, source, from.parse().unwrap(), to.parse().unwrap()).await
}

fn dates(fetched: &FetchedDays) -> Vec<String> {
    fetched
        .days
        .iter()
        .map(|day| day.date.to_string())
        .collect()
}

#[tokio::test]
async fn the_service_is_asked_for_the_days_and_others_are_dropped() {
    let server = TestServer::start(vec![Reply::ok(sample("ncei/metric_with_attributes.json"))]);
    let feed = ncei(&server);
    let fetched = asked(&feed, "2024-07-05", "2024-07-07").await.unwrap();
    assert_eq!(dates(&fetched), ["2024-07-05", "2024-07-07"]);
    let request = server.requests().remove(0);
    assert!(
        request.contains("startDate=2024-07-05&endDate=2024-07-07"),
        "{request}"
    );
    assert_eq!(feed.name(), "ncei-daily-summaries");
}

#[tokio::test]
async fn acis_is_asked_for_the_days_of_the_station() {
    let server = TestServer::start(vec![Reply::ok(sample("acis/klnk.json"))]);
    let base_url = server.url("/StnData").whole().to_string();
    let feed = source(&format!(
        "acis = {{ station = 'KLNK', base_url = '{base_url}' }}"
    ));
    let fetched = asked(&feed, "1999-12-31", "2000-01-01").await.unwrap();
    let expected = day("2000-01-01", Some(26.0), Some(37.5), Unit::Fahrenheit);
    assert_eq!(fetched.days, [expected]);
    let request = server.requests().remove(0);
    assert!(request.starts_with("GET /StnData?params="), "{request}");
    assert!(request.contains("1999-12-31"), "{request}");
    assert_eq!(feed.name(), "acis-stndata");
}

#[tokio::test]
async fn cimis_is_asked_with_a_key_that_no_error_shows_and_for_no_day_before_its_first() {
    let refused = "ERR1006: INVALID APP KEY hunter-2";
    let replies = vec![
        Reply::ok(sample("cimis/station_213.json")),
        Reply::answer("403 Forbidden", &[], refused),
        Reply::ok(refused),
    ];
    let server = TestServer::start(replies);
    let base_url = server.url("/api/data").whole().to_string();
    let feed = format!("station = 213\nbase_url = '{base_url}'");
    let mut feed: CimisFeed = toml::from_str(&feed).unwrap();
    let without = asked(&FeedSource::Cimis(feed.clone()), "2023-07-23", "2023-07-23").await;
    assert!(matches!(without, Err(FeedError::NoKey)), "{without:?}");
    feed.key = Some(Secret::new("hunter-2".to_owned()));
    let feed = FeedSource::Cimis(feed);
    let before = asked(&feed, "1981-01-01", "1981-12-31").await.unwrap();
    assert_eq!(before, FetchedDays::default());
    assert_eq!(server.requests().len(), 0);
    let fetched = asked(&feed, "2023-07-23", "2023-07-23").await.unwrap();
    let expected = day("2023-07-23", Some(54.8), Some(63.9), Unit::Fahrenheit);
    assert_eq!(fetched.days, [expected]);
    assert!(server.requests()[0].contains("appKey=hunter-2"));
    for _ in 0..2 {
        let error = asked(&feed, "2023-07-23", "2023-07-23").await.unwrap_err();
        let words = format!("{} {error:?}", error_chain(&error));
        assert!(words.contains("INVALID APP KEY ***"), "{words}");
        assert!(!words.contains("hunter"), "{words}");
    }
}

#[tokio::test]
async fn a_station_file_may_be_larger_than_what_is_taken_of_others() {
    let mut file = sample("ghcn/by_station.csv");
    let rain = b"USW00093193,20240701,PRCP,0,,,W,2400\n";
    file.extend(rain.repeat(9 * 1024 * 1024 / rain.len()));
    let server = TestServer::start(vec![Reply::ok(file)]);
    let base_url = server.url("/by_station/").whole().to_string();
    let feed = source(&format!(
        "ghcn = {{ station = 'USW00093193', base_url = '{base_url}' }}"
    ));
    let fetched = asked(&feed, "2024-07-02", "2024-07-03").await.unwrap();
    assert_eq!(dates(&fetched), ["2024-07-02", "2024-07-03"]);
    let request = server.requests().remove(0);
    let path = "GET /by_station/USW00093193.csv.gz ";
    assert!(request.starts_with(path), "{request}");
}

#[tokio::test]
async fn a_wrong_answer_under_status_200_is_an_error_that_names_the_place() {
    let check = async |answer: Vec<u8>, part: &str| {
        let server = TestServer::start(vec![Reply::ok(answer)]);
        let error = asked(&ncei(&server), "2024-07-01", "2024-07-07")
            .await
            .unwrap_err();
        let FeedError::Parse { place, source } = &error else {
            panic!("{error:?}");
        };
        assert!(place.ends_with("/v1?…"), "{place}");
        assert!(source.to_string().contains(part), "{source}");
        assert_eq!(server.requests().len(), 1);
    };
    check(sample("ncei/unavailable.html"), "a web page came").await;
    check(sample("ncei/error.json"), "A valid dataset is required").await;
    check(Vec::new(), "empty").await;
    check(b"[{\"DATE\": 7".to_vec(), "not a list of station days").await;
}

#[tokio::test]
async fn a_station_without_days_is_not_an_error() {
    let server = TestServer::start(vec![Reply::ok(sample("ncei/no_days.json"))]);
    let fetched = asked(&ncei(&server), "2024-07-01", "2024-07-07")
        .await
        .unwrap();
    assert_eq!(fetched, FetchedDays::default());
}

#[tokio::test]
async fn a_table_is_read_alike_from_a_file_and_an_address() {
    let server = TestServer::start(vec![Reply::ok(sample("table/logger.csv"))]);
    let address = server.url("/logger.csv?key=k").whole().to_string();
    for place in [format!("{DATA}/table/logger.csv"), address] {
        let feed = table(&place);
        let fetched = asked(&feed, "2024-07-04", "2024-07-06").await.unwrap();
        assert_eq!(dates(&fetched), ["2024-07-04", "2024-07-05", "2024-07-06"]);
        let values: Vec<_> = fetched.days.iter().map(|day| (day.min, day.max)).collect();
        assert_eq!(
            values,
            [
                (Some(18.4), Some(39.9)),
                (None, Some(41.2)),
                (Some(20.1), None)
            ]
        );
        let problems: Vec<String> = fetched.problems.iter().map(ToString::to_string).collect();
        assert_eq!(
            problems,
            [
                "row 5 (2024-07-06): \"#ERR\" in column \"Air max\" is not a temperature; counted as missing",
                "row 7: \"Total\" in column \"Date\" is not a date of the form \"%m/%d/%Y %H:%M\"; row not used",
            ],
            "the fault of 8 July is outside the days asked for"
        );
        assert_eq!(feed.name(), "station-table");
    }
}

#[test]
fn an_unknown_feed_is_refused_with_the_known_ones() {
    let error = toml::from_str::<FeedSource>("[satellite]\nx = 1")
        .unwrap_err()
        .to_string();
    assert!(error.contains("`ncei`, `acis`, `cimis`, "), "{error}");
}
