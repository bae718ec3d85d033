//! How this year differs from the station's past years: its warming trend, and this season's warmth
//! so far.
//!
//! The constants were chosen on seasons up to 2004 of eight stations of the San Joaquin Valley
//! (thresholds 55 and 94 °F), by the error of projected dates; later seasons only showed them.

use chrono::{Datelike, NaiveDate};

use crate::heat::HeatSeries;
use crate::statistics::mean;
use crate::temperature::DegreeDays;

/// Warming expected of a station of which nothing is known, °F-days a day in a year. Chosen on
/// years up to 2004.
const EXPECTED_TREND: f64 = 0.06;
/// How firmly it is expected, years²: as much as an unbroken record of 23 years says (the sum of
/// squared distances from the middle year, n(n² - 1)/12). Chosen on years up to 2004: a slope from
/// fewer years is mostly chance.
const EXPECTED_TREND_WEIGHT: f64 = 1000.0;

/// Days of the short warmth, the share of it that the next day keeps, and the days in which that
/// falls to 1/e. Chosen on years up to 2004.
const SHORT_DAYS: usize = 7;
const SHORT_SHARE: f64 = 0.5;
const SHORT_FADES_IN_DAYS: f64 = 6.0;
/// Days of the long warmth and the share of it that days of spring keep. Chosen on years up to 2004.
const LONG_DAYS: usize = 60;
const LONG_SHARE: f64 = 0.6;
/// A warm spring is over by this day (month, day), and fades before it for so many days. Chosen on
/// years up to 2004.
const LONG_ENDS: (u32, u32) = (7, 10);
const LONG_FADES_FOR_DAYS: f64 = 90.0;

/// How this year's heat differs from that of the station's past years.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// What the station's warming adds to a day from year to year; below zero where it cools.
    pub trend: DegreeDays,
    /// Mean daily heat of the last seven days less that of the past years moved by the trend;
    /// `None` where days are missing.
    pub last_week: Option<DegreeDays>,
    /// The same of the last sixty days.
    pub last_sixty_days: Option<DegreeDays>,
}

/// A past year and the position in it that stands for the first day not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PastYear {
    pub(super) year: i32,
    pub(super) position: usize,
}

impl Shift {
    /// From the years before `year`, and the days known of this one.
    pub(super) fn new(heat: &HeatSeries, year: i32, past: &[PastYear]) -> Self {
        let trend = trend(&warm_seasons(heat, year));
        let departure =
            |days| departure(heat, year, past, trend, days).map(DegreeDays::from_fahrenheit_days);
        Self {
            trend: DegreeDays::from_fahrenheit_days(trend),
            last_week: departure(SHORT_DAYS),
            last_sixty_days: departure(LONG_DAYS),
        }
    }

    /// What the warmth so far adds to the heat of a day, °F-days: `ahead` days after the first one
    /// not known.
    pub(super) fn carried(&self, day: NaiveDate, ahead: usize) -> f64 {
        let short = SHORT_SHARE * (-(ahead as f64) / SHORT_FADES_IN_DAYS).exp();
        let long = LONG_SHARE * spring_left(day);
        let known = |warmth: Option<DegreeDays>| warmth.map_or(0.0, DegreeDays::fahrenheit_days);
        known(self.last_week) * short + known(self.last_sixty_days) * long
    }
}

/// The share of spring that is left on a day: 1 to early April, 0 from July on.
fn spring_left(day: NaiveDate) -> f64 {
    let (month, last) = LONG_ENDS;
    NaiveDate::from_ymd_opt(day.year(), month, last).map_or(0.0, |end| {
        ((end - day).num_days() as f64 / LONG_FADES_FOR_DAYS).clamp(0.0, 1.0)
    })
}

/// Mean daily heat of each warm season before `year`, April to September, where it is known.
fn warm_seasons(heat: &HeatSeries, year: i32) -> Vec<(f64, f64)> {
    let position = |year, month| heat.position(NaiveDate::from_ymd_opt(year, month, 1)?);
    (heat.first().year()..year)
        .filter_map(|past| {
            let mean = heat.mean(position(past, 4)?, position(past, 10)?)?;
            Some((f64::from(past), mean))
        })
        .collect()
}

/// The slope of a line through the points by least squares, drawn towards the expected one: with
/// normal errors the mean of what expectation and record say, each by its weight (Gelman et al.
/// 2013, *Bayesian Data Analysis*, 3rd ed., 14.8).
fn trend(points: &[(f64, f64)]) -> f64 {
    let middle_year = mean(points.iter().map(|point| point.0)).unwrap_or(0.0);
    let squares: f64 = points.iter().map(|(x, _)| (x - middle_year).powi(2)).sum();
    let products: f64 = points.iter().map(|(x, y)| (x - middle_year) * y).sum();
    (products + EXPECTED_TREND_WEIGHT * EXPECTED_TREND) / (squares + EXPECTED_TREND_WEIGHT)
}

/// How much warmer the last `days` known days were than the same ones of the past years.
fn departure(
    heat: &HeatSeries,
    year: i32,
    past: &[PastYear],
    trend: f64,
    days: usize,
) -> Option<f64> {
    let before = |position: usize| heat.mean(position.checked_sub(days)?, position);
    let usual = past
        .iter()
        .filter_map(|past| Some(before(past.position)? + trend * f64::from(year - past.year)));
    Some(before(heat.len())? - mean(usual)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(got: f64, expected: f64) {
        assert!((got - expected).abs() < 1e-9, "{got} {expected}");
    }

    #[test]
    fn without_a_record_the_trend_is_the_expected_one() {
        check(trend(&[]), EXPECTED_TREND);
        check(trend(&[(2020.0, 18.0)]), EXPECTED_TREND);
    }

    #[test]
    fn a_record_of_23_years_says_half() {
        // A slope of 0.2 a year over 23 years, squares 23 · 528 / 12 = 1012:
        // (0.2 · 1012 + 60) / 2012.
        let points: Vec<_> = (0..23)
            .map(f64::from)
            .map(|year| (1990.0 + year, 15.0 + 0.2 * year))
            .collect();
        check(trend(&points), 262.4 / 2012.0);
    }

    #[test]
    fn spring_fades_to_the_tenth_of_july() {
        let left = |month, day| spring_left(NaiveDate::from_ymd_opt(2021, month, day).unwrap());
        check(left(2, 1), 1.0);
        // 45 of 90 days before 10 July.
        check(left(5, 26), 0.5);
        check(left(7, 10), 0.0);
        check(left(10, 1), 0.0);
    }

    #[test]
    fn warmth_fades_with_the_days_ahead_and_with_spring() {
        let shift = Shift {
            trend: DegreeDays::ZERO,
            last_week: Some(DegreeDays::from_fahrenheit_days(2.0)),
            last_sixty_days: Some(DegreeDays::from_fahrenheit_days(1.0)),
        };
        let day = |month, day| NaiveDate::from_ymd_opt(2021, month, day).unwrap();
        // Half of the week's 2.0 and 0.6 of half a spring's 1.0.
        check(shift.carried(day(5, 26), 0), 1.0 + 0.3);
        // Six days on the week's share is 1/e.
        check(shift.carried(day(7, 20), 6), (-1.0_f64).exp());
        let unknown = Shift {
            last_week: None,
            last_sixty_days: None,
            ..shift
        };
        check(unknown.carried(day(5, 26), 0), 0.0);
    }
}
