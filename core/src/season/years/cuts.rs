//! The days of different years that correspond: by date and by degree-days.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, NaiveDate};

use crate::heat::HeatSeries;
use crate::temperature::DegreeDays;

use super::super::StationHeat;
use super::super::projection::day_of;
use super::WhyNotByHeat;

/// Adding up in another order may move a sum by so much, °F-days, which must not cost a day.
const SUM_ERROR: f64 = 1e-6;

/// The days at which seasons had the same degree-days since 1 January.
pub(super) struct HeatCuts {
    /// Degree-days since 1 January, to the newest station day.
    pub(super) degree_days: DegreeDays,
    /// The last day of this season on which a reading counts.
    pub(super) this: NaiveDate,
    /// The same of earlier seasons.
    pub(super) earlier: BTreeMap<i32, NaiveDate>,
    /// Earlier seasons without such a day, newest first.
    pub(super) unknown: Vec<i32>,
}

impl HeatCuts {
    pub(super) fn new(heat: &StationHeat, years: &[i32]) -> Result<Self, WhyNotByHeat> {
        let (series, newest) = heat.known()?;
        let as_of = heat.as_of();
        let new_year = first_of(as_of.year()).filter(|first| *first <= newest);
        let new_year = new_year.ok_or(WhyNotByHeat::NoneThisYear)?;
        let sum = series.sum(new_year, newest).map_err(|day| heat.hole(day))?;
        if sum.degree_days.fahrenheit_days() <= 0.0 {
            return Err(WhyNotByHeat::NoHeatThisYear);
        }
        let cut = |year: &i32| Some((*year, day_with(series, *year, sum.degree_days)?));
        let earlier: BTreeMap<i32, NaiveDate> = years.iter().filter_map(cut).collect();
        let unknown = years.iter().filter(|year| !earlier.contains_key(year));
        Ok(Self {
            degree_days: sum.degree_days,
            this: morning_after(newest).min(as_of),
            unknown: unknown.copied().collect(),
            earlier,
        })
    }
}

/// The morning after the day of a year that reached a sum since 1 January: what was read by then flew
/// within that sum. `None` where temperatures are missing or the year did not reach it.
fn day_with(series: &HeatSeries, year: i32, sum: DegreeDays) -> Option<NaiveDate> {
    let first = series.position(first_of(year)?)?;
    let first = (first < series.len()).then_some(first)?;
    let level = series.level(first) + sum.fahrenheit_days() - SUM_ERROR;
    let day = day_of(series, series.crossing(first, level)?);
    let whole = series
        .first_hole(first, series.position(day)? + 1)
        .is_none();
    (whole && day.year() == year).then(|| morning_after(day))
}

fn first_of(year: i32) -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(year, 1, 1)
}

fn morning_after(day: NaiveDate) -> NaiveDate {
    day.checked_add_days(Days::new(1)).unwrap_or(day)
}
