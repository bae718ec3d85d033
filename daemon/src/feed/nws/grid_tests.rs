use proptest::prelude::*;

use super::*;
use crate::error_chain::error_chain;
use crate::feed::samples::{self, sample};
use crate::feed::test_server::{Reply, TestServer};
use crate::feed::{ForecastSource, Limits, fetch_forecast};

const VALLEY: Tz = Tz::America__Los_Angeles;

fn day(date: &str, min: Option<f64>, max: Option<f64>) -> ReceivedDay {
    samples::day(date, min, max, Unit::Fahrenheit)
}

fn feed(base_url: &str) -> NwsGridFeed {
    let text = format!("latitude = 37.28\nlongitude = -120.512345678\nbase_url = '{base_url}'");
    let feed: NwsGridFeed = toml::from_str(&text).unwrap();
    NwsGridFeed {
        zone: VALLEY,
        ..feed
    }
}

#[test]
fn a_place_is_asked_for_with_four_decimals() {
    let feed: NwsGridFeed = toml::from_str("latitude = 37.28\nlongitude = -120.512345678").unwrap();
    assert_eq!(
        feed.points_url().whole().as_str(),
        "https://api.weather.gov/points/37.28,-120.5123"
    );
    let wrong = toml::from_str::<NwsGridFeed>("latitude = 120.5\nlongitude = 37").unwrap_err();
    assert!(wrong.to_string().contains("beyond 90 degrees"), "{wrong}");
}

#[test]
fn a_real_forecast_gives_whole_degrees_of_days_and_their_mornings() {
    let days = parse(&sample("nws/grid_tallahassee.json"), Tz::America__New_York).unwrap();
    let expected = [
        day("2022-02-04", Some(64.0), Some(72.0)),
        day("2022-02-05", Some(39.0), Some(55.0)),
        day("2022-02-06", Some(38.0), Some(58.0)),
        day("2022-02-07", Some(42.0), Some(60.0)),
        day("2022-02-08", Some(40.0), Some(59.0)),
        day("2022-02-09", Some(39.0), Some(62.0)),
        day("2022-02-10", Some(38.0), Some(65.0)),
        day("2022-02-11", Some(40.0), None),
    ];
    assert_eq!(days, expected);
}

#[test]
fn on_an_evening_what_is_left_of_a_window_and_null_are_no_values_and_two_equal_nights_are_two() {
    let days = parse(&sample("nws/grid_evening.json"), VALLEY).unwrap();
    let expected = [
        day("2024-07-05", Some(78.0), Some(109.0)),
        day("2024-07-06", Some(79.0), None),
        day("2024-07-07", Some(79.0), None),
    ];
    assert_eq!(days, expected);
}

#[test]
fn durations_are_read_as_they_are_written() {
    let check = |text: &str, minutes: Option<i64>| {
        assert_eq!(
            duration(text).map(|lasts| lasts.num_minutes()),
            minutes,
            "{text}"
        );
    };
    check("PT13H", Some(13 * 60));
    check("P1DT13H", Some(37 * 60));
    check("P7D", Some(7 * 1440));
    check("PT1H30M", Some(90));
    for wrong in [
        "", "P13H", "13H", "PT-1H", "PT1", "P1W", "PTH", "PT99999H", "P1DT1Hx",
    ] {
        check(wrong, None);
    }
}

#[test]
fn what_is_no_forecast_is_said_so() {
    let check = |answer: &[u8], part: &str| {
        let words = error_chain(&parse(answer, VALLEY).unwrap_err());
        assert!(words.contains(part), "{words}");
    };
    check(b"", "empty");
    check(&sample("nws/proxy.html"), "a web page");
    check(&sample("nws/problem_503.json"), "Forecast Grid Expired");
    check(&sample("nws/points.json"), "missing field `maxTemperature`");
    let evening = String::from_utf8(sample("nws/grid_evening.json")).unwrap();
    check(
        evening.replace("wmoUnit:degC", "wmoUnit:degF").as_bytes(),
        "the unit \"wmoUnit:degF\"",
    );
    check(
        evening.replace("/PT12H", "/PT2H").as_bytes(),
        "does not supply maxTemperature",
    );
    let empty =
        br#"{"properties":{"maxTemperature":{"values":[]},"minTemperature":{"values":[]}}}"#;
    check(empty, "does not supply maxTemperature");
}

#[test]
fn the_cell_is_on_the_host_that_was_asked() {
    let asked = HttpUrl::new("https://api.weather.gov/points/30,-85").unwrap();
    let cell = parse_points(&sample("nws/points.json"), &asked).unwrap();
    assert_eq!(
        cell.to_string(),
        "https://api.weather.gov/gridpoints/TAE/58,65"
    );
    let points = String::from_utf8(sample("nws/points.json")).unwrap();
    for elsewhere in [
        "http://api.weather.gov/g",
        "https://api.weather.example/g",
        "gridpoints/TAE",
    ] {
        let other = points.replace(
            "https://api.weather.gov/gridpoints/TAE/58,65\",\n  \"obs",
            &format!("{elsewhere}\",\n  \"obs"),
        );
        let error = parse_points(other.as_bytes(), &asked)
            .unwrap_err()
            .to_string();
        assert_eq!(
            error,
            format!("the answer sends on to {elsewhere:?} and not to api.weather.gov")
        );
    }
}

#[tokio::test]
async fn the_cell_is_asked_for_first_and_then_its_forecast() {
    let limits = Limits {
        tries: 1,
        ..Limits::default()
    };
    let client = crate::feed::Client::new(limits, crate::feed::Caller::default()).unwrap();
    let evening = Reply::ok(sample("nws/grid_evening.json"));
    let away = Reply::ok(sample("nws/points.json"));
    let server = TestServer::start_with(|address| {
        let here = format!(
            r#"{{"properties":{{"forecastGridData":"http://{address}/gridpoints/HNX/3,4"}}}}"#
        );
        vec![Reply::ok(here), evening, away]
    });
    let source = ForecastSource::Nws(feed(server.url("").whole().as_str()));
    let days = fetch_forecast(&client, &source).await.unwrap();
    assert_eq!(days.len(), 3);
    let requests = server.requests();
    assert!(
        requests[0].starts_with("GET /points/37.28,-120.5123 "),
        "{}",
        requests[0]
    );
    assert!(
        requests[1].starts_with("GET /gridpoints/HNX/3,4 "),
        "{}",
        requests[1]
    );
    let error = fetch_forecast(&client, &source).await.unwrap_err();
    assert!(error_chain(&error).contains("sends on to"), "{error:?}");
    assert_eq!(server.requests().len(), 3);
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(answer in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = parse(&answer, VALLEY);
        let asked = HttpUrl::new("https://api.weather.gov/points/30,-85").unwrap();
        let _ = parse_points(&answer, &asked);
    }

    #[test]
    fn no_change_of_one_byte_makes_it_panic_or_gives_a_number_that_is_none(
        place in 0..1000_usize, byte in any::<u8>()
    ) {
        let mut answer = sample("nws/grid_evening.json");
        let place = place % answer.len();
        answer[place] = byte;
        if let Ok(days) = parse(&answer, VALLEY) {
            let values = days.iter().flat_map(|d| [d.min, d.max]).flatten();
            prop_assert!(values.into_iter().all(f64::is_finite));
        }
    }
}
