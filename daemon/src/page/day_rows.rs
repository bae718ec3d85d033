//! Days of a station one by one: their temperatures, and where those come from.

use chrono::NaiveDate;
use duskflight_core::id::StationId;
use duskflight_core::weather::{CompletedDay, Element, StationWeather};
use duskflight_core::wording::{DayQuality, Words};

use super::guest::Guest;
use super::page_error::PageError;
use crate::telling::Stations;

/// One day.
pub(super) struct Day {
    pub(super) day: String,
    pub(super) min: String,
    pub(super) max: String,
    pub(super) from: String,
    pub(super) degree_days: String,
    pub(super) total: String,
    pub(super) passed: String,
}

/// The weather of one station as known on a day, worked out anew.
pub(super) async fn weather(
    guest: &Guest,
    id: &StationId,
    as_of: NaiveDate,
) -> Result<StationWeather, PageError> {
    let id = id.clone();
    guest
        .view
        .work_out(move |c, config| {
            let mut stations = config.stations.iter();
            let station = stations.find(|station| station.id == id);
            let station = station.expect("a view has the stations of its configuration");
            Stations::read(c, config, as_of)?.weather(station)
        })
        .await
}

/// Its days, oldest first.
pub(super) fn dated(weather: &StationWeather) -> Vec<(NaiveDate, Option<CompletedDay>)> {
    let Some(series) = weather.series() else {
        return Vec::new();
    };
    let dates = series.first().iter_days();
    dates.zip(series.days().iter().copied()).collect()
}

/// A day without a sum.
pub(super) fn line(
    words: Words,
    quality: &DayQuality<'_>,
    date: NaiveDate,
    day: Option<CompletedDay>,
) -> Day {
    let temperature = |element| {
        day.map_or_else(String::new, |day| {
            format!("{:.1}", day.temperature(element).in_unit(quality.unit))
        })
    };
    Day {
        day: words.day(date),
        min: temperature(Element::Min),
        max: temperature(Element::Max),
        from: quality.of_both(date, day),
        degree_days: String::new(),
        total: String::new(),
        passed: String::new(),
    }
}
