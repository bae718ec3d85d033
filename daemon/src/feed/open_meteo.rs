//! Open-Meteo: a model's days for a place, the last two weeks and the next one. It is used as a
//! forecast only; what a model says never counts as read at a station.

use chrono::NaiveDate;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use serde::Deserialize;
use serde::de::{Deserializer, Error as _};

use super::error::{ParseError, data_of};
use super::excerpt::Excerpt;
use super::url::HttpUrl;

const SERVICE: &str = "https://api.open-meteo.com/v1/forecast";
/// Days asked for before today: they bridge what the station's own feed lags behind, and show by how
/// much the model is off at the station.
const PAST_DAYS: &str = "14";
/// Days asked for from today on. Common practice, no source: little is gained beyond a week.
const COMING_DAYS: &str = "7";

/// One place of the service.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OpenMeteoFeed {
    /// Degrees north.
    #[serde(deserialize_with = "latitude")]
    pub latitude: f64,
    /// Degrees east; west of Greenwich it is below zero.
    #[serde(deserialize_with = "longitude")]
    pub longitude: f64,
    /// The service's address.
    #[serde(default = "service")]
    pub base_url: HttpUrl,
}

impl OpenMeteoFeed {
    /// The address of the days around today. Days are those of the place's own zone.
    #[must_use]
    pub fn url(&self) -> HttpUrl {
        self.base_url.with_query([
            ("latitude", self.latitude.to_string().as_str()),
            ("longitude", self.longitude.to_string().as_str()),
            ("daily", "temperature_2m_max,temperature_2m_min"),
            ("timezone", "auto"),
            ("temperature_unit", "fahrenheit"),
            ("past_days", PAST_DAYS),
            ("forecast_days", COMING_DAYS),
        ])
    }
}

#[derive(Deserialize)]
struct Answer {
    daily_units: Units,
    daily: Daily,
}

#[derive(Deserialize)]
struct Units {
    temperature_2m_max: String,
    temperature_2m_min: String,
}

#[derive(Deserialize)]
struct Daily {
    time: Vec<NaiveDate>,
    temperature_2m_max: Vec<Option<f64>>,
    temperature_2m_min: Vec<Option<f64>>,
}

/// The service's own error.
#[derive(Deserialize)]
struct ServiceError {
    reason: String,
}

/// Reads the service's answer; a value that is not there is `None`.
///
/// # Errors
/// [`ParseError`] when the answer is empty, a web page, the service's own error, or not days in a
/// unit that it names.
pub fn parse(answer: &[u8]) -> Result<Vec<ReceivedDay>, ParseError> {
    let data = data_of(answer)?;
    let other = |source| ParseError::not_days(data, source);
    let read: Answer =
        serde_json::from_slice(data).map_err(|source| {
            match serde_json::from_slice::<ServiceError>(data) {
                Ok(error) => ParseError::Refused {
                    message: Excerpt::of_answer(error.reason.as_bytes()),
                },
                Err(_) => other(source),
            }
        })?;
    days(&read).map_err(|what| other(serde_json::Error::custom(what)))
}

fn days(answer: &Answer) -> Result<Vec<ReceivedDay>, &'static str> {
    let Daily {
        time,
        temperature_2m_max: max,
        temperature_2m_min: min,
    } = &answer.daily;
    if time.len() != max.len() || time.len() != min.len() {
        return Err("days, maxima and minima are not equally many");
    }
    let units = &answer.daily_units;
    let unit = match (
        units.temperature_2m_max.as_str(),
        units.temperature_2m_min.as_str(),
    ) {
        ("°F", "°F") => Unit::Fahrenheit,
        ("°C", "°C") => Unit::Celsius,
        _ => return Err("the unit is neither °F nor °C"),
    };
    let values = time.iter().zip(min.iter().zip(max));
    Ok(values
        .map(|(date, (min, max))| ReceivedDay {
            date: *date,
            min: *min,
            max: *max,
            unit,
            min_flag: None,
            max_flag: None,
        })
        .collect())
}

fn service() -> HttpUrl {
    HttpUrl::new(SERVICE).expect("the service's address is a constant that a test reads")
}

fn latitude<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    within(deserializer, 90.0)
}

fn longitude<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    within(deserializer, 180.0)
}

fn within<'de, D: Deserializer<'de>>(deserializer: D, most: f64) -> Result<f64, D::Error> {
    let degrees = f64::deserialize(deserializer)?;
    match degrees.abs() <= most {
        true => Ok(degrees),
        false => Err(D::Error::custom(format!(
            "{degrees} lies beyond {most} degrees; west and south are below zero"
        ))),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::feed::samples::sample;

    #[test]
    fn the_request_names_place_zone_and_unit() {
        let feed: OpenMeteoFeed = toml::from_str("latitude = 37.28\nlongitude = -120.51").unwrap();
        assert_eq!(
            feed.url().whole().as_str(),
            "https://api.open-meteo.com/v1/forecast?latitude=37.28&longitude=-120.51\
             &daily=temperature_2m_max%2Ctemperature_2m_min&timezone=auto\
             &temperature_unit=fahrenheit&past_days=14&forecast_days=7"
        );
        let wrong =
            toml::from_str::<OpenMeteoFeed>("latitude = 120.51\nlongitude = 37").unwrap_err();
        assert!(wrong.to_string().contains("beyond 90 degrees"), "{wrong}");
    }

    #[test]
    fn the_unit_is_the_one_that_the_answer_names() {
        let days = parse(&sample("open-meteo/berlin.json")).unwrap();
        assert_eq!(days.len(), 7);
        let first = &days[0];
        assert_eq!(first.date.to_string(), "2023-04-25");
        assert_eq!(
            (first.min, first.max, first.unit),
            (Some(5.5), Some(10.5), Unit::Celsius)
        );
        let fahrenheit = parse(&sample("open-meteo/fresno_null_tail.json")).unwrap();
        assert_eq!(fahrenheit[0].unit, Unit::Fahrenheit);
        assert_eq!((fahrenheit[2].min, fahrenheit[2].max), (None, None));
    }

    #[test]
    fn what_is_no_forecast_is_said_so() {
        let check = |answer: &[u8], part: &str| {
            let error = parse(answer).unwrap_err();
            let source = std::error::Error::source(&error).map(ToString::to_string);
            let words = format!("{error}: {}", source.unwrap_or_default());
            assert!(words.contains(part), "{words}");
        };
        check(b"", "empty");
        check(b"<html>down</html>", "web page");
        check(
            &sample("open-meteo/error.json"),
            "the service answered with an error",
        );
        check(b"[1, 2]", "not a list of station days");
        let text = String::from_utf8(sample("open-meteo/berlin.json")).unwrap();
        check(text.replace("\u{b0}C", "K").as_bytes(), "neither");
        check(
            text.replace("10.5,10.5,", "10.5,").as_bytes(),
            "not equally many",
        );
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
            let _ = parse(&bytes);
        }
    }
}
