use proptest::prelude::*;

use super::*;
use crate::error_chain::error_chain;
use crate::feed::samples::{self, sample};

fn feed(text: &str) -> OpenMeteoFeed {
    let feed: OpenMeteoFeed = toml::from_str(text).unwrap();
    OpenMeteoFeed {
        zone: Tz::America__Los_Angeles,
        ..feed
    }
}

fn fresno() -> OpenMeteoFeed {
    feed("latitude = 36.77\nlongitude = -119.72")
}

fn berlin() -> OpenMeteoFeed {
    feed("latitude = 52.5\nlongitude = 13.4")
}

fn words<T: std::fmt::Debug>(read: Result<T, ParseError>) -> String {
    error_chain(&read.unwrap_err())
}

#[test]
fn the_requests_name_place_zone_and_unit() {
    let feed = feed("latitude = 37.28\nlongitude = -120.51");
    assert_eq!(
        feed.forecast_url().whole().as_str(),
        "https://api.open-meteo.com/v1/forecast?latitude=37.28&longitude=-120.51\
         &daily=temperature_2m_max%2Ctemperature_2m_min&temperature_unit=fahrenheit\
         &timezone=auto&past_days=14&forecast_days=7"
    );
    let days = ("2024-07-01".parse().unwrap(), "2024-07-09".parse().unwrap());
    assert_eq!(
        feed.archive_url(days.0, days.1).whole().as_str(),
        "https://archive-api.open-meteo.com/v1/archive?latitude=37.28&longitude=-120.51\
         &daily=temperature_2m_max%2Ctemperature_2m_min&temperature_unit=fahrenheit\
         &timezone=America%2FLos_Angeles&start_date=2024-07-01&end_date=2024-07-09"
    );
    let wrong = toml::from_str::<OpenMeteoFeed>("latitude = 120.51\nlongitude = 37").unwrap_err();
    assert!(wrong.to_string().contains("beyond 90 degrees"), "{wrong}");
}

#[test]
fn whoever_has_a_key_asks_the_customers_host_or_their_own_and_no_key_is_shown() {
    let mut feed = fresno();
    assert!(feed.is_free());
    feed.key = Some(Secret::new("hunter-2".to_owned()));
    for (url, host) in [
        (feed.forecast_url(), "customer-api.open-meteo.com"),
        (
            feed.archive_url(NaiveDate::MIN, NaiveDate::MIN),
            "customer-archive-api.open-meteo.com",
        ),
    ] {
        assert_eq!(url.host(), host);
        assert!(url.whole().as_str().contains("&apikey=hunter-2&"), "{url}");
        let shown = format!("{url} {url:?} {feed:?}");
        assert!(!shown.contains("hunter"), "{shown}");
    }
    feed.base_url = Some(HttpUrl::new("http://models.farm.example/v1").unwrap());
    assert_eq!(feed.forecast_url().host(), "models.farm.example");
    assert!(!feed.is_free());
}

#[test]
fn the_unit_is_the_one_that_the_answer_names() {
    let days = parse_forecast(&sample("open-meteo/berlin.json"), &berlin()).unwrap();
    assert_eq!(days.len(), 7);
    let first = &days[0];
    assert_eq!(first.date.to_string(), "2023-04-25");
    assert_eq!(
        (first.min, first.max, first.unit),
        (Some(5.5), Some(10.5), Unit::Celsius)
    );
    let tail = sample("open-meteo/fresno_null_tail.json");
    let fahrenheit = parse_forecast(&tail, &fresno()).unwrap();
    assert_eq!(fahrenheit[0].unit, Unit::Fahrenheit);
    assert_eq!((fahrenheit[2].min, fahrenheit[2].max), (None, None));
}

#[test]
fn days_that_the_archive_does_not_have_yet_are_not_there() {
    let tail = sample("open-meteo/fresno_null_tail.json");
    let days = parse_archive(&tail, &fresno()).unwrap();
    let expected = [
        samples::day("2024-07-03", Some(76.1), Some(109.2), Unit::Fahrenheit),
        samples::day("2024-07-04", Some(77.9), Some(110.5), Unit::Fahrenheit),
    ];
    assert_eq!((&days.days[..], days.problems), (&expected[..], vec![]));
    let text = String::from_utf8(tail).unwrap().replace("110.5", "null");
    let days = parse_archive(text.as_bytes(), &fresno()).unwrap();
    let half = samples::day("2024-07-04", Some(77.9), None, Unit::Fahrenheit);
    assert_eq!(days.days[1], half);
    let all_null = text
        .replace("109.2", "null")
        .replace("76.1", "null")
        .replace("77.9", "null");
    let none = parse_archive(all_null.as_bytes(), &fresno()).unwrap();
    assert_eq!(none, FetchedDays::default());
}

#[test]
fn days_in_any_order_are_given_once_each_and_the_oldest_first() {
    let text = String::from_utf8(sample("open-meteo/fresno_null_tail.json")).unwrap();
    let mixed = text
        .replace("2024-07-03", "2024-07-06")
        .replace("2024-07-05", "2024-07-04");
    let forecast = parse_forecast(mixed.as_bytes(), &fresno()).unwrap();
    let expected = [
        samples::day("2024-07-04", Some(77.9), Some(110.5), Unit::Fahrenheit),
        samples::day("2024-07-06", Some(76.1), Some(109.2), Unit::Fahrenheit),
    ];
    assert_eq!(forecast, expected);
}

#[test]
fn days_of_another_zone_or_place_are_refused_whole() {
    let real = sample("open-meteo/archive_gmt.json");
    let mut bergen = feed("latitude = 60.39\nlongitude = 5.32");
    bergen.zone = Tz::Europe__Oslo;
    assert_eq!(
        words(parse_archive(&real, &bergen)),
        "the answer's days are those of \"GMT\" and not of Europe/Oslo"
    );
    bergen.zone = Tz::Etc__UTC;
    assert_eq!(parse_archive(&real, &bergen).unwrap().days.len(), 3);
    let tail = sample("open-meteo/fresno_null_tail.json");
    let expected = "the answer is about the place 36.774982, -119.72681 and not about 52.5, 13.4";
    assert_eq!(words(parse_forecast(&tail, &berlin())), expected);
    assert_eq!(words(parse_archive(&tail, &berlin())), expected);
}

#[test]
fn what_is_no_answer_of_days_is_said_so() {
    let check = |answer: &[u8], part: &str| {
        for words in [
            words(parse_forecast(answer, &berlin())),
            words(parse_archive(answer, &berlin())),
        ] {
            assert!(words.contains(part), "{words}");
        }
    };
    check(b"", "empty");
    check(b"<html>down</html>", "web page");
    for (error, part) in [
        ("error", "Timezone is required"),
        ("limit_day", "Daily API request limit exceeded"),
        ("limit_minute", "Minutely API request limit exceeded"),
    ] {
        check(&sample(&format!("open-meteo/{error}.json")), part);
    }
    check(b"[1, 2]", "not a list of station days");
    check(
        &sample("open-meteo/places.json"),
        "not a list of station days",
    );
    check(
        &sample("open-meteo/unixtime.json"),
        "not a list of station days",
    );
    check(
        &sample("open-meteo/null_day.json"),
        "missing field `daily_units`",
    );
    let text = String::from_utf8(sample("open-meteo/berlin.json")).unwrap();
    let text = text.replace("Europe/Berlin", "America/Los_Angeles");
    check(text.replace("\u{b0}C", "K").as_bytes(), "neither");
    check(
        text.replace("10.5,10.5,", "10.5,").as_bytes(),
        "not equally many",
    );
    check(
        text.replace("temperature_2m_max\":[", "temperature_2m_top\":[")
            .as_bytes(),
        "missing field `temperature_2m_max`",
    );
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = parse_forecast(&bytes, &berlin());
        let _ = parse_archive(&bytes, &berlin());
    }

    #[test]
    fn no_change_of_one_byte_makes_it_panic_or_gives_a_number_that_is_none(
        place in 0..1000_usize, byte in any::<u8>()
    ) {
        let mut answer = sample("open-meteo/fresno_null_tail.json");
        let place = place % answer.len();
        answer[place] = byte;
        let archive = parse_archive(&answer, &fresno()).map(|fetched| fetched.days);
        for days in [archive, parse_forecast(&answer, &fresno())].into_iter().flatten() {
            let values = days.iter().flat_map(|d| [d.min, d.max]).flatten();
            prop_assert!(values.into_iter().all(f64::is_finite));
        }
    }
}
