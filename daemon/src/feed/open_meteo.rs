//! Open-Meteo: what models say of a place. Its forecast has the last two weeks and the next one; its archive has the past,
//! also where no station stands, as a model's values that are never called measured.

use std::path::PathBuf;

use chrono::{NaiveDate, Offset, TimeZone};
use chrono_tz::Tz;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use serde::Deserialize;
use serde::de::{Deserializer, Error as _};

use super::declaration::{Declaration, Needs, Past, Values};
use super::error::{ParseError, data_of};
use super::excerpt::Excerpt;
use super::rows::{FetchedDays, Gathered};
use super::url::HttpUrl;
use crate::secret::Secret;

pub(super) const FORECAST: Declaration = Declaration {
    table: "station.forecast.open_meteo",
    name: "open-meteo-forecast",
    service: "Open-Meteo forecast, a model's last two and next one weeks, by latitude and longitude",
    values: Values::Forecast,
    unit: "°F, checked in each answer",
    day: "the place's own, midnight to midnight by the clock",
    latency: "made anew several times a day",
    flags: "it has none",
    needs: Needs::KeyInBusiness,
    past: Past::Whole,
};
pub(super) const ARCHIVE: Declaration = Declaration {
    table: "station.open_meteo",
    name: "open-meteo-archive",
    service: "Open-Meteo archive, where no station stands, by latitude and longitude",
    values: Values::Modelled,
    unit: "°F, checked in each answer",
    day: "midnight to midnight by the clock of the farm's zone",
    latency: "two to five days; replaced after two to three months",
    flags: "it has none; a day that is not there yet is no number",
    needs: Needs::KeyInBusiness,
    past: Past::AsAsked,
};
/// Where whoever has no key asks, and whoever has one.
const FORECAST_HOSTS: [&str; 2] = [
    "https://api.open-meteo.com/v1/forecast",
    "https://customer-api.open-meteo.com/v1/forecast",
];
const ARCHIVE_HOSTS: [&str; 2] = [
    "https://archive-api.open-meteo.com/v1/archive",
    "https://customer-archive-api.open-meteo.com/v1/archive",
];
/// Days asked for before today: they bridge what the station's own feed lags behind, and show by how
/// much the model is off at the station.
const PAST_DAYS: &str = "14";
/// Days asked for from today on. Common practice, no source: little is gained beyond a week.
const COMING_DAYS: &str = "7";
/// The answer is of the grid's cell, whose middle may lie so many degrees from the place, also where the nearest cell is sea.
const CELL_DEGREES: f64 = 1.0;

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
    /// The service's address: a host of one's own, or that for whoever has a key or has none.
    pub base_url: Option<HttpUrl>,
    /// The file with the key.
    pub key_file: Option<PathBuf>,
    /// The key, from wherever it stands; without it use is free, where that is not commercial.
    #[serde(skip)]
    pub key: Option<Secret>,
    /// The zone of the archive's days: the farm's.
    #[serde(skip)]
    pub zone: Tz,
}

impl OpenMeteoFeed {
    /// The address of the days around today. Days are those of the place's own zone.
    #[must_use]
    pub fn forecast_url(&self) -> HttpUrl {
        self.url(FORECAST_HOSTS).with_query([
            ("timezone", "auto"),
            ("past_days", PAST_DAYS),
            ("forecast_days", COMING_DAYS),
        ])
    }

    /// The address of the days `from..=to` in the archive.
    #[must_use]
    pub fn archive_url(&self, from: NaiveDate, to: NaiveDate) -> HttpUrl {
        self.url(ARCHIVE_HOSTS).with_query([
            ("timezone", self.zone.name()),
            ("start_date", &from.to_string()),
            ("end_date", &to.to_string()),
        ])
    }

    /// Whether it is asked as whoever pays nothing and has no host of their own.
    #[must_use]
    pub const fn is_free(&self) -> bool {
        self.key.is_none() && self.base_url.is_none()
    }

    /// What both are asked for; the key, where there is one, is in the query, which is never shown.
    fn url(&self, [free, customers]: [&str; 2]) -> HttpUrl {
        let host = self.key.as_ref().map_or(free, |_| customers);
        let host = || HttpUrl::new(host).expect("the hosts are constants that a test reads");
        let url = self.base_url.clone().unwrap_or_else(host).with_query([
            ("latitude", self.latitude.to_string().as_str()),
            ("longitude", self.longitude.to_string().as_str()),
            ("daily", "temperature_2m_max,temperature_2m_min"),
            ("temperature_unit", "fahrenheit"),
        ]);
        let key = self.key.iter().map(|key| ("apikey", key.expose()));
        url.with_query(key)
    }
}

#[derive(Deserialize)]
struct Answer {
    /// The middle of the cell.
    latitude: Option<f64>,
    longitude: Option<f64>,
    timezone: Option<String>,
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

/// Reads a forecast; a value that is not there is `None`.
///
/// # Errors
/// [`ParseError`] when the answer is empty, a web page, the service's own error, of another place, or not days in a unit
/// that it names.
pub fn parse_forecast(answer: &[u8], feed: &OpenMeteoFeed) -> Result<Vec<ReceivedDay>, ParseError> {
    gathered(answer, &read(answer, feed)?, |_| true).map(|fetched| fetched.days)
}

/// Reads an answer of the archive. Its last days are there without values until the model has them.
///
/// # Errors
/// As [`parse_forecast`], and when its days are those of another zone.
pub fn parse_archive(answer: &[u8], feed: &OpenMeteoFeed) -> Result<FetchedDays, ParseError> {
    let read = read(answer, feed)?;
    let other = |zone: &&str| is_other_zone(zone, feed.zone);
    if let Some(zone) = read.timezone.as_deref().filter(other) {
        return Err(ParseError::OtherZone {
            expected: feed.zone.name(),
            found: Excerpt::of_cell(zone),
        });
    }
    gathered(answer, &read, |day| day.min.is_some() || day.max.is_some())
}

/// Those of the days that count, each once and the oldest first.
fn gathered(
    answer: &[u8],
    read: &Answer,
    counts: impl Fn(&ReceivedDay) -> bool,
) -> Result<FetchedDays, ParseError> {
    let days =
        days(read).map_err(|what| ParseError::not_days(answer, serde_json::Error::custom(what)))?;
    let mut gathered = Gathered::default();
    for (day, number) in days.into_iter().zip(1..).filter(|(day, _)| counts(day)) {
        gathered.day(number, day)?;
    }
    Ok(gathered.finish())
}

/// Whether days of the zone of this name are other days: one zone has many names.
fn is_other_zone(name: &str, asked: Tz) -> bool {
    let Ok(zone) = name.parse::<Tz>() else {
        return false;
    };
    let offset = |zone: Tz, month| {
        let noon = NaiveDate::from_ymd_opt(2024, month, 1)?.and_hms_opt(12, 0, 0)?;
        Some(zone.offset_from_utc_datetime(&noon).fix())
    };
    [1, 7]
        .into_iter()
        .any(|month| offset(zone, month) != offset(asked, month))
}

fn read(answer: &[u8], feed: &OpenMeteoFeed) -> Result<Answer, ParseError> {
    let data = data_of(answer)?;
    let read: Answer =
        serde_json::from_slice(data).map_err(|source| {
            match serde_json::from_slice::<ServiceError>(data) {
                Ok(error) => ParseError::Refused {
                    message: Excerpt::of_answer(error.reason.as_bytes()),
                },
                Err(_) => ParseError::not_days(data, source),
            }
        })?;
    let far = |there: Option<f64>, asked: f64| {
        there.is_some_and(|there| (there - asked).abs() > CELL_DEGREES)
    };
    match far(read.latitude, feed.latitude) || far(read.longitude, feed.longitude) {
        false => Ok(read),
        true => Err(ParseError::OtherPlace {
            expected: [feed.latitude, feed.longitude],
            found: [read.latitude, read.longitude].map(Option::unwrap_or_default),
        }),
    }
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
            min: *min,
            max: *max,
            ..ReceivedDay::empty(*date, unit)
        })
        .collect())
}

pub(super) fn latitude<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    within(deserializer, 90.0)
}

pub(super) fn longitude<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
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
#[path = "open_meteo_tests.rs"]
mod tests;
