//! The forecast that the office of a place makes: the place's cell of its grid is asked for first, then the cell's highest
//! and lowest temperatures.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use serde::Deserialize;

use super::answer::{is_celsius, read, service};
use crate::feed::client::Client;
use crate::feed::declaration::{Declaration, Needs, Past, Values};
use crate::feed::error::{FeedError, ParseError};
use crate::feed::excerpt::Excerpt;
use crate::feed::open_meteo::{latitude, longitude};
use crate::feed::url::HttpUrl;

pub(in crate::feed) const FORECAST: Declaration = Declaration {
    table: "station.forecast.nws",
    name: "nws-gridpoint",
    service: "NWS gridpoint forecast (US National Weather Service), seven days, by latitude and longitude",
    values: Values::Forecast,
    unit: "°C, checked in each answer; whole °F of the office",
    day: "the maximum of a daytime and the minimum of the night before it, by the clock of the farm's zone",
    latency: "made anew several times a day",
    flags: "it has none; what is left of a window that has begun is no value of its day",
    needs: Needs::Contact,
    past: Past::Whole,
};
/// A window of a day or a night lasts 12 to 14 hours; what is shorter is left of one that has begun.
const WHOLE_WINDOW: TimeDelta = TimeDelta::hours(11);
/// Windows of equal values come as one. No forecast reaches further.
const LONGEST: TimeDelta = TimeDelta::days(15);

/// One place in the United States.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NwsGridFeed {
    /// Degrees north.
    #[serde(deserialize_with = "latitude")]
    pub latitude: f64,
    /// Degrees east; west of Greenwich it is below zero.
    #[serde(deserialize_with = "longitude")]
    pub longitude: f64,
    /// The service's address.
    #[serde(default = "service")]
    pub base_url: HttpUrl,
    /// The zone of its days: the farm's.
    #[serde(skip)]
    pub zone: Tz,
}

impl NwsGridFeed {
    /// The address at which the place's cell is asked for. The service takes four decimals at the most.
    #[must_use]
    pub fn points_url(&self) -> HttpUrl {
        let decimals = |degrees: f64| (degrees * 10_000.0).round() / 10_000.0;
        let place = format!("{},{}", decimals(self.latitude), decimals(self.longitude));
        self.base_url.with_segment("points").with_segment(&place)
    }
}

/// Asks for the cell and its forecast.
///
/// # Errors
/// [`FeedError`] when either cannot be had.
pub(in crate::feed) async fn fetch(
    client: &Client,
    feed: &NwsGridFeed,
) -> Result<Vec<ReceivedDay>, FeedError> {
    let points = feed.points_url();
    let answer = client.get(&points).await?;
    let in_answer = |url: &HttpUrl| {
        let place = url.to_string();
        move |source| FeedError::Parse { place, source }
    };
    let cell = parse_points(&answer, &points).map_err(in_answer(&points))?;
    let answer = client.get(&cell).await?;
    parse(&answer, feed.zone).map_err(in_answer(&cell))
}

#[derive(Deserialize)]
struct Points {
    properties: Cell,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Cell {
    forecast_grid_data: String,
}

/// Reads the address of the cell, which is on the host that was asked.
///
/// # Errors
/// [`ParseError`] when the answer names none, or one on another host.
pub fn parse_points(answer: &[u8], asked: &HttpUrl) -> Result<HttpUrl, ParseError> {
    let points: Points = read(answer)?;
    let text = points.properties.forecast_grid_data;
    let cell = HttpUrl::new(&text).ok();
    cell.filter(|cell| cell.is_beside(asked))
        .ok_or_else(|| ParseError::OtherHost {
            expected: asked.host(),
            found: Excerpt::of_cell(&text),
        })
}

#[derive(Deserialize)]
struct Answer {
    properties: Layers,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Layers {
    max_temperature: Layer,
    min_temperature: Layer,
}

/// One layer; without values where the office supplies none, and then without a unit, too.
#[derive(Deserialize)]
struct Layer {
    uom: Option<String>,
    values: Vec<Value>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Value {
    valid_time: String,
    value: Option<f64>,
}

/// Reads a cell's forecast into days of a zone: a maximum is of the day on which its window begins, a minimum of the
/// morning on which it ends.
///
/// # Errors
/// [`ParseError`] when it is empty, a web page, the service's own error, in another unit, or without maxima or minima.
pub fn parse(answer: &[u8], zone: Tz) -> Result<Vec<ReceivedDay>, ParseError> {
    let Answer { properties } = read(answer)?;
    let max = properties.max_temperature.values("maxTemperature")?;
    let min = properties.min_temperature.values("minTemperature")?;
    let date = |at: DateTime<Utc>| zone.from_utc_datetime(&at.naive_utc()).date_naive();
    let mut days: BTreeMap<NaiveDate, ReceivedDay> = BTreeMap::new();
    let empty = |date| ReceivedDay::empty(date, Unit::Fahrenheit);
    for (window, value) in max {
        for day in window.days() {
            let date = date(day.start);
            days.entry(date).or_insert_with(|| empty(date)).max = Some(value);
        }
    }
    for (window, value) in min {
        for night in window.nights() {
            let date = date(night.end);
            days.entry(date).or_insert_with(|| empty(date)).min = Some(value);
        }
    }
    Ok(days.into_values().collect())
}

impl Layer {
    /// The values of whole windows, °F.
    fn values(&self, layer: &'static str) -> Result<Vec<(Window, f64)>, ParseError> {
        let windows = self.values.iter().filter_map(|value| {
            let window = Window::read(&value.valid_time).filter(Window::is_whole)?;
            Some((window, fahrenheit(value.value?)))
        });
        let windows: Vec<(Window, f64)> = windows.collect();
        if windows.is_empty() {
            return Err(ParseError::NotSupplied { layer });
        }
        is_celsius(self.uom.as_deref().unwrap_or_default())?;
        Ok(windows)
    }
}

/// The office forecasts whole °F, which come as °C with long fractions.
fn fahrenheit(celsius: f64) -> f64 {
    ((celsius * 1.8 + 32.0) * 10.0).round() / 10.0
}

/// A stretch of time.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Window {
    start: DateTime<Utc>,
    end: DateTime<Utc>,
}

impl Window {
    /// Reads a start and how long it lasts: `2022-02-04T12:00:00+00:00/PT13H`.
    fn read(text: &str) -> Option<Self> {
        let (start, lasts) = text.split_once('/')?;
        let start = DateTime::parse_from_rfc3339(start).ok()?.to_utc();
        let lasts = duration(lasts).filter(|lasts| *lasts <= LONGEST)?;
        Some(Self {
            start,
            end: start.checked_add_signed(lasts)?,
        })
    }

    fn is_whole(&self) -> bool {
        self.end - self.start >= WHOLE_WINDOW
    }

    /// The daytimes in it, each begun a day after the one before.
    fn days(self) -> impl Iterator<Item = Self> {
        let next = |window: &Self| {
            let start = window.start.checked_add_signed(TimeDelta::days(1))?;
            Some(Self { start, ..*window }).filter(Self::is_whole)
        };
        std::iter::successors(Some(self), next)
    }

    /// The nights in it, each ended a day before the one after.
    fn nights(self) -> impl Iterator<Item = Self> {
        let before = |window: &Self| {
            let end = window.end.checked_sub_signed(TimeDelta::days(1))?;
            Some(Self { end, ..*window }).filter(Self::is_whole)
        };
        std::iter::successors(Some(self), before)
    }
}

/// Reads days, hours and minutes of ISO 8601: `PT13H`, `P1DT6H`.
fn duration(text: &str) -> Option<TimeDelta> {
    let (days, times) = text
        .strip_prefix('P')?
        .split_once('T')
        .unwrap_or((&text[1..], ""));
    let mut sum = TimeDelta::zero();
    for (part, units) in [(days, &[('D', 1440)][..]), (times, &[('H', 60), ('M', 1)])] {
        let mut rest = part;
        for &(unit, minutes) in units {
            if let Some((number, after)) = rest.split_once(unit) {
                let number: u16 = number.parse().ok()?;
                sum += TimeDelta::minutes(i64::from(number) * minutes);
                rest = after;
            }
        }
        if !rest.is_empty() {
            return None;
        }
    }
    Some(sum)
}

#[cfg(test)]
#[path = "grid_tests.rs"]
mod tests;
