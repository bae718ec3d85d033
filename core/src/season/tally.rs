//! The degree-days of a block's season, day by day, so that anyone can add them up by hand.

use chrono::{Datelike, NaiveDate};

use crate::temperature::DegreeDays;
use crate::weather::{CompletedDay, StationWeather};

use super::{BlockSeason, Outcome};

/// One day of the tally.
#[derive(Debug, Clone, PartialEq)]
pub struct TallyDay {
    /// The civil day.
    pub date: NaiveDate,
    /// Its temperatures and where they come from; `None` where nothing is known.
    pub weather: Option<CompletedDay>,
    /// Its degree-days; with a double method the newest day has none yet.
    pub degree_days: Option<DegreeDays>,
    /// The sum since the first day of the tally, this one counted; `None` from the first day without
    /// degree-days on.
    pub total: Option<DegreeDays>,
    /// Names of the marks that were passed on this day.
    pub passed: Vec<String>,
}

/// From the day that heat counts from, or from 1 January while there is none, to the newest day
/// known.
#[must_use]
pub fn tally(season: &BlockSeason, weather: &StationWeather) -> Vec<TallyDay> {
    let Some(series) = weather.series() else {
        return Vec::new();
    };
    let new_year = NaiveDate::from_ymd_opt(season.year, 1, 1).unwrap_or(NaiveDate::MIN);
    let from = season.heat_from.unwrap_or(new_year);
    let mut total = Some(0.0);
    let dated = series.first().iter_days().zip(series.days()).enumerate();
    dated
        .filter(|(_, (date, _))| *date >= from && date.year() == season.year)
        .map(|(position, (date, day))| {
            let next = series.days().get(position + 1).copied().flatten();
            let next_min = next.map(|next| next.extremes.min());
            let degree_days = day.and_then(|day| season.heat_model.daily(day.extremes, next_min));
            total = total.and_then(|sum| Some(sum + degree_days?.fahrenheit_days()));
            TallyDay {
                date,
                weather: *day,
                degree_days,
                total: total.map(DegreeDays::from_fahrenheit_days),
                passed: passed_on(season, date),
            }
        })
        .collect()
}

/// The marks of the readings that people are told, passed on a day.
fn passed_on(season: &BlockSeason, day: NaiveDate) -> Vec<String> {
    let told = season.marks.iter().filter(|reading| reading.told);
    let passed = told
        .filter(|reading| matches!(reading.outcome, Outcome::Passed { date, .. } if date == day));
    passed.map(|reading| reading.name.clone()).collect()
}
