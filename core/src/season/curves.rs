//! A season's heat as curves: so far, in earlier years from the same day on, and as past years would
//! run it on. Worked out only for a block that is drawn.

use chrono::{Datelike, Days, NaiveDate};

use crate::heat::HeatSeries;
use crate::statistics::quantile;
use crate::temperature::DegreeDays;

use super::projection::{FEW_PAST_YEARS, Outlook, Trajectory};
use super::{BlockSeason, StationHeat};
use crate::same_day::same_day;

/// The share of earlier years below a band, and above it.
const OUTSIDE_BAND: f64 = 0.1;

/// Heat from the day that counting began on, which counts.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatCurves {
    /// Each day known, up to the first one without temperatures.
    pub known: Vec<HeatDay>,
    /// The first day without temperatures, if there is one.
    pub hole: Option<NaiveDate>,
    /// Earlier years of the station that are whole over all these days, oldest first.
    pub years: Vec<i32>,
    /// What those years had, as they were; empty without one.
    pub band: Vec<BandDay>,
    /// The days after the newest one: the middle of the past years as they would run this year. Empty
    /// after a hole, and where nothing continues the season.
    pub ahead: Vec<(NaiveDate, DegreeDays)>,
}

/// One day of a season.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatDay {
    /// The civil day.
    pub date: NaiveDate,
    /// The sum at its end.
    pub sum: DegreeDays,
    /// Whether the day is an estimate.
    pub estimated: bool,
}

/// One day of earlier years.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandDay {
    /// The day of this year that it stands for.
    pub date: NaiveDate,
    /// One year in ten had less at its end; of few years, the lowest.
    pub low: DegreeDays,
    /// Half of the years had less.
    pub middle: DegreeDays,
    /// One in ten had more; of few years, the highest.
    pub high: DegreeDays,
}

impl HeatCurves {
    /// The curves of a block's season up to a day of its year; `None` while no day counts, or where
    /// the first one has no temperatures.
    #[must_use]
    pub fn new(season: &BlockSeason, heat: &StationHeat, until: NaiveDate) -> Option<Self> {
        let from = season.heat_from?;
        let (series, outlook) = heat.outlook().ok()?;
        let start = series.position(from)?;
        let (known, hole) = known(series, start);
        known.first()?;
        let days = usize::try_from((until - from).num_days() + 1).ok()?;
        let (years, sums) = earlier(series, from, days);
        let ahead = match hole {
            None => ahead(series, outlook, start, until),
            Some(_) => Vec::new(),
        };
        Some(Self {
            known,
            hole,
            band: band(from, &sums),
            years,
            ahead,
        })
    }

    /// The sum before a day begins, as known or as past years would have it; `None` outside the curves.
    #[must_use]
    pub fn before(&self, day: NaiveDate) -> Option<DegreeDays> {
        let eve = day.pred_opt()?;
        match self.known.first() {
            Some(first) if day == first.date => return Some(DegreeDays::ZERO),
            _ => {}
        }
        let known = self.known.iter().map(|day| (day.date, day.sum));
        let mut all = known.chain(self.ahead.iter().copied());
        all.find_map(|(date, sum)| (date == eve).then_some(sum))
    }
}

fn known(series: &HeatSeries, start: usize) -> (Vec<HeatDay>, Option<NaiveDate>) {
    if start >= series.len() {
        return (Vec::new(), None);
    }
    let hole = series.first_hole(start, series.len());
    let day = |position| HeatDay {
        date: series.date(position),
        sum: DegreeDays::from_fahrenheit_days(series.level(position + 1) - series.level(start)),
        estimated: series.is_estimated(position),
    };
    let days = (start..series.len()).map(day);
    let whole = days.take_while(|day| hole.is_none_or(|hole| day.date < hole));
    (whole.collect(), hole)
}

/// The earlier years that are whole over so many days from the same day of the year on, each with its
/// sums, °F-days.
fn earlier(series: &HeatSeries, from: NaiveDate, days: usize) -> (Vec<i32>, Vec<Vec<f64>>) {
    let sums_of = |year: i32| {
        let start = series.position(same_day(from, year)?)?;
        let end = start + days;
        let whole = end <= series.len() && series.first_hole(start, end).is_none();
        let sum = |position| series.level(position + 1) - series.level(start);
        whole.then(|| (year, (start..end).map(sum).collect()))
    };
    let years = series.first().year()..from.year();
    years.filter_map(sums_of).unzip()
}

fn band(from: NaiveDate, years: &[Vec<f64>]) -> Vec<BandDay> {
    let outside = match years.len() {
        0 => return Vec::new(),
        few if few < FEW_PAST_YEARS => 0.0,
        _ => OUTSIDE_BAND,
    };
    let days = from.iter_days().take(years[0].len()).enumerate();
    let band_day = |(at, date): (usize, NaiveDate)| {
        let mut sums: Vec<f64> = years.iter().map(|sums| sums[at]).collect();
        let mut at = |share| quantile(&mut sums, share).map(DegreeDays::from_fahrenheit_days);
        Some(BandDay {
            date,
            low: at(outside)?,
            middle: at(0.5)?,
            high: at(1.0 - outside)?,
        })
    };
    days.filter_map(band_day).collect()
}

/// The middle of the trajectories that reach so far.
fn ahead(
    series: &HeatSeries,
    outlook: &Outlook,
    start: usize,
    until: NaiveDate,
) -> Vec<(NaiveDate, DegreeDays)> {
    let base = series.level(start);
    let next = series.date(series.len());
    let days: Vec<NaiveDate> = next.iter_days().take_while(|day| *day <= until).collect();
    let sums_of = |trajectory: Trajectory<'_>| {
        let end_of = |day: &NaiveDate| trajectory.level_at(day.checked_add_days(Days::new(1))?);
        days.iter()
            .map(|day| Some(end_of(day)? - base))
            .collect::<Option<Vec<f64>>>()
    };
    let years: Vec<Vec<f64>> = Trajectory::continued(series, outlook)
        .filter_map(sums_of)
        .collect();
    let middle = |at: usize| {
        let mut sums: Vec<f64> = years.iter().map(|sums| sums[at]).collect();
        quantile(&mut sums, 0.5).map(DegreeDays::from_fahrenheit_days)
    };
    let each = days.iter().enumerate();
    each.filter_map(|(at, day)| Some((*day, middle(at)?)))
        .collect()
}

#[cfg(test)]
mod tests;
