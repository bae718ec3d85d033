//! An airport's readings of the last days, and our own daily extremes of them.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::{OffsetComponents, Tz};
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use serde::de::IgnoredAny;
use serde::{Deserialize, Deserializer};
use tokio::time::{Instant, timeout_at};

use super::answer::{is_celsius, read, service, tail};
use crate::error_chain::error_chain;
use crate::feed::client::Client;
use crate::feed::declaration::{Declaration, Needs, Past, Values};
use crate::feed::error::{FeedError, ParseError};
use crate::feed::excerpt::Excerpt;
use crate::feed::get_error::GetError;
use crate::feed::rows::FetchedDays;
use crate::feed::url::HttpUrl;

pub(in crate::feed) const DECLARED: Declaration = Declaration {
    table: "station.nws",
    name: "nws-observations",
    service: "NWS observations (US National Weather Service): an airport's last days, by an id such as KMCE",
    values: Values::Observed,
    unit: "°C, checked in each answer",
    day: "midnight to midnight of the zone's standard time, all year, as the archives have it; minimum and maximum are those of the \
          readings, whole °C between the hours, so up to 1 °F from the official ones. A day counts once it has ended and four fifths of its \
          hours, with those of 3 to 7 and 13 to 17, have a reading",
    latency: "hours; kept for seven days at the most, so past years must come from elsewhere",
    flags: "readings that failed a check or are questioned (X, Q, B) or are no air temperature (T) do not count; not checked yet (Z) does",
    needs: Needs::Contact,
    past: Past::Days(KEPT_DAYS),
};
/// The service keeps three to seven days.
const KEPT_DAYS: u64 = 7;
/// The most readings that one answer has; less than that where the service is busy.
const PAGE: usize = 500;
/// An answer with so many may have been cut. Readings come every five minutes at the most, 312 in the span of a day.
const MAY_BE_CUT: usize = 100;
/// None was cut that reaches so close to the day's begin.
const CLOSE: TimeDelta = TimeDelta::minutes(10);
/// So many answers make a day, however short they are cut.
const MOST_PAGES: usize = 4;
/// A day has ended when the station has reported after it: a page from a stale cache shows that it has not.
const AFTER: TimeDelta = TimeDelta::hours(2);
/// Of 24 hours, four fifths.
const HOURS_NEEDED: usize = 20;
/// Hours in which a maximum and a minimum usually come.
const WARM: Range<usize> = 13..17;
const COLD: Range<usize> = 3..7;
/// Flags (MADIS) under which a reading counts: not checked yet, checked coarsely, screened, verified, held for good.
const USED: [&str; 5] = ["Z", "C", "S", "V", "G"];

/// One station of the service.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NwsFeed {
    /// The station's id: four letters of an airport, or the id of another network that the service passes on.
    #[serde(deserialize_with = "station_id")]
    pub station: String,
    /// The service's address.
    #[serde(default = "service")]
    pub base_url: HttpUrl,
    /// The zone whose standard time its days are in: the farm's.
    #[serde(skip)]
    pub zone: Tz,
}

impl NwsFeed {
    /// The address of the readings of a day, and of those just after it.
    #[must_use]
    pub fn url(&self, day: NaiveDate) -> HttpUrl {
        let (start, end) = span(self.zone, day);
        self.url_between(start, end + AFTER)
    }

    fn url_between(&self, start: DateTime<Utc>, end: DateTime<Utc>) -> HttpUrl {
        let written = |at: DateTime<Utc>| at.format("%Y-%m-%dT%H:%M:%SZ").to_string();
        let base = self.base_url.with_segment("stations");
        let base = base
            .with_segment(&self.station)
            .with_segment("observations");
        base.with_query([
            ("start", written(start).as_str()),
            ("end", &written(end)),
            ("limit", &PAGE.to_string()),
        ])
    }
}

/// Asks for the days `from..=to`, the newest first, as far as they are kept. What came stands when an older day is gone, or
/// the time is up that all tries of a station may take.
///
/// # Errors
/// [`FeedError`] when the newest day cannot be had.
pub(in crate::feed) async fn fetch(
    client: &Client,
    feed: &NwsFeed,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<FetchedDays, FeedError> {
    let kept = (0..KEPT_DAYS).filter_map(|back| to.checked_sub_days(Days::new(back)));
    let mut days = Vec::new();
    let limit = client.limits().overall;
    let until = Instant::now() + limit;
    for day in kept.take_while(|day| *day >= from) {
        let out_of_time = |_| {
            let url = feed.url(day);
            Err(GetError::OutOfTime { url, limit }.into())
        };
        let readings = timeout_at(until, readings_of(client, feed, day)).await;
        match readings.unwrap_or_else(out_of_time) {
            Ok(readings) => days.extend(extremes(&readings, feed.zone, day)),
            Err(error) if day == to => return Err(error),
            Err(error) => {
                tracing::info!(%day, error = error_chain(&error), "an older day cannot be had");
                break;
            }
        }
    }
    days.reverse();
    Ok(FetchedDays {
        days,
        problems: Vec::new(),
    })
}

/// Readings of a day, newest first, page by page: one that was cut lacks the oldest.
async fn readings_of(
    client: &Client,
    feed: &NwsFeed,
    day: NaiveDate,
) -> Result<Vec<Reading>, FeedError> {
    let (start, end) = span(feed.zone, day);
    let mut until = end + AFTER;
    let mut readings = Vec::new();
    for _ in 0..MOST_PAGES {
        let url = feed.url_between(start, until);
        let answer = client.get(&url).await?;
        let page = parse(&answer, &feed.station).map_err(|source| FeedError::Parse {
            place: url.to_string(),
            source,
        })?;
        readings.extend(page.readings);
        match page.oldest {
            Some(oldest)
                if page.features >= MAY_BE_CUT && (start + CLOSE..until).contains(&oldest) =>
            {
                until = oldest;
            }
            _ => break,
        }
    }
    Ok(readings)
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// When it was read.
    pub at: DateTime<Utc>,
    /// What, °C.
    pub celsius: f64,
}

/// One answer.
#[derive(Debug, PartialEq, Default)]
pub struct Page {
    /// Readings that count.
    pub readings: Vec<Reading>,
    /// Reports that it has, whether with a reading or without.
    pub features: usize,
    /// The oldest of them.
    pub oldest: Option<DateTime<Utc>>,
}

#[derive(Debug, Deserialize)]
struct Answer {
    features: Vec<Feature>,
}

#[derive(Debug, Deserialize)]
struct Feature {
    properties: Report,
}

/// One report; each part of it may be missing.
#[derive(Debug, Deserialize)]
struct Report {
    station: Option<String>,
    timestamp: Option<String>,
    temperature: Option<Value>,
    #[serde(flatten)]
    others: BTreeMap<String, IgnoredAny>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
struct Value {
    unit_code: String,
    value: Option<f64>,
    quality_control: Option<String>,
}

/// Reads an answer about `station`.
///
/// # Errors
/// [`ParseError`] when it is empty, a web page, the service's own error, of another station, in another unit, or no
/// collection of reports.
pub fn parse(answer: &[u8], station: &str) -> Result<Page, ParseError> {
    let answer: Answer = read(answer)?;
    let reports = || answer.features.iter().map(|feature| &feature.properties);
    if reports().len() > 1 && reports().all(|report| report.temperature.is_none()) {
        let found: BTreeSet<&String> = reports().flat_map(|report| report.others.keys()).collect();
        return Err(ParseError::MissingField {
            field: "temperature",
            found: found
                .into_iter()
                .map(|name| Excerpt::of_cell(name))
                .collect(),
        });
    }
    let mut page = Page {
        features: answer.features.len(),
        ..Page::default()
    };
    for report in reports() {
        is_of(station, report)?;
        let at = report.timestamp.as_deref().and_then(instant);
        page.oldest = page.oldest.into_iter().chain(at).min();
        let value = report.temperature.as_ref();
        let celsius = value.map(Value::celsius).transpose()?.flatten();
        let reading = at.zip(celsius).map(|(at, celsius)| Reading { at, celsius });
        page.readings.extend(reading);
    }
    Ok(page)
}

impl Value {
    /// The value in °C, where there is one that counts.
    fn celsius(&self) -> Result<Option<f64>, ParseError> {
        let Some(value) = self.value else {
            return Ok(None);
        };
        is_celsius(&self.unit_code)?;
        let flag = self.quality_control.as_deref().map_or("Z", tail);
        Ok(USED.contains(&flag).then_some(value))
    }
}

fn is_of(station: &str, report: &Report) -> Result<(), ParseError> {
    let Some(address) = &report.station else {
        return Ok(());
    };
    let found = address.rsplit('/').next().unwrap_or_default();
    match found.eq_ignore_ascii_case(station) {
        true => Ok(()),
        false => Err(ParseError::OtherStation {
            expected: station.to_owned(),
            found: vec![Excerpt::of_cell(found)],
        }),
    }
}

fn instant(text: &str) -> Option<DateTime<Utc>> {
    let at = DateTime::parse_from_rfc3339(text).ok()?;
    Some(at.to_utc())
}

/// The least and the greatest reading of a day, once it has ended and enough of its hours are there.
#[must_use]
pub fn extremes(readings: &[Reading], zone: Tz, day: NaiveDate) -> Option<ReceivedDay> {
    let (start, end) = span(zone, day);
    let has_ended = readings.iter().any(|reading| reading.at >= end);
    let mut hours = [false; 24];
    let mut day_of = ReceivedDay::empty(day, Unit::Celsius);
    for Reading { at, celsius } in readings {
        if (start..end).contains(at) {
            let hour = (*at - start).num_hours();
            hours[usize::try_from(hour).ok()?] = true;
            day_of.min = Some(day_of.min.map_or(*celsius, |min| min.min(*celsius)));
            day_of.max = Some(day_of.max.map_or(*celsius, |max| max.max(*celsius)));
        }
    }
    let have = |span: Range<usize>| hours[span].iter().all(|has| *has);
    let count = hours.iter().filter(|has| **has).count();
    let is_whole = has_ended && count >= HOURS_NEEDED && have(WARM) && have(COLD);
    is_whole.then_some(day_of)
}

/// From when to when a day lasts: by standard time, whatever the clock says in summer.
fn span(zone: Tz, day: NaiveDate) -> (DateTime<Utc>, DateTime<Utc>) {
    let midnight = day.and_time(NaiveTime::MIN);
    let ahead = zone.offset_from_utc_datetime(&midnight).base_utc_offset();
    let start = midnight.and_utc() - ahead;
    (start, start + TimeDelta::days(1))
}

fn station_id<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    let given = String::deserialize(deserializer)?
        .trim()
        .to_ascii_uppercase();
    let is_id = (3..=8).contains(&given.len()) && given.bytes().all(|b| b.is_ascii_alphanumeric());
    match is_id {
        true => Ok(given),
        false => Err(serde::de::Error::custom(format!(
            "the station {given:?} must be an id of the service, such as KMCE"
        ))),
    }
}

#[cfg(test)]
#[path = "observations_tests.rs"]
mod tests;
