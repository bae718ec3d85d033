//! Degree-days of a run of days as prefix sums, so that any sum or crossing is a look-up.

use chrono::{Days, NaiveDate};

use crate::temperature::DegreeDays;
use crate::weather::{CompletedDay, CompletedSeries, Element};

use super::HeatModel;

/// A mean is given where at most one day in so many is missing. Common practice, no source.
const MEAN_BEARS_HOLES_OF: usize = 20;

/// Degree-days of one station for one heat model, for every day known before one day of telling.
///
/// Heat is held as a level that rises from day to day: `level(i)` is the sum of all days before
/// position `i`. A day without temperatures adds nothing to the level and is counted as a hole, so
/// that no sum across it is ever given as a number.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatSeries {
    first: NaiveDate,
    level: Vec<f64>,
    holes: Vec<u32>,
    estimated: Vec<u32>,
    /// Sum of the squared expected errors, °F-days squared.
    error: Vec<f64>,
}

/// Degree-days from one day to another, both counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accumulated {
    /// The sum.
    pub degree_days: DegreeDays,
    /// How many of its days were estimated.
    pub estimated_days: u32,
    /// Expected error of the sum, since those days were: a standard deviation.
    pub expected_error: DegreeDays,
}

impl HeatSeries {
    /// Adds up a completed series. With a double method the newest day is absent, since it needs
    /// the minimum of the day after.
    #[must_use]
    pub fn new(days: &CompletedSeries, model: HeatModel) -> Self {
        let calendar = days.days();
        let counted = calendar.len() - usize::from(model.method().needs_next_min());
        let mut series = Self {
            first: days.first(),
            level: Vec::with_capacity(counted + 1),
            holes: Vec::with_capacity(counted + 1),
            estimated: Vec::with_capacity(counted + 1),
            error: Vec::with_capacity(counted + 1),
        };
        let (mut level, mut holes, mut estimated, mut error) = (0.0, 0, 0, 0.0);
        let mut run = ErrorRun::default();
        series.push(level, holes, estimated, error);
        for (position, day) in calendar.iter().enumerate().take(counted) {
            let next_min = calendar
                .get(position + 1)
                .and_then(|next| next.map(|d| d.extremes.min()));
            match day.and_then(|d| Some((model.daily(d.extremes, next_min)?, d))) {
                Some((heat, day)) => {
                    level += heat.fahrenheit_days();
                    estimated += u32::from(day.is_estimated());
                    error += run.with(day_error(&day));
                }
                None => holes += 1,
            }
            series.push(level, holes, estimated, error);
        }
        series
    }

    fn push(&mut self, level: f64, holes: u32, estimated: u32, error: f64) {
        self.level.push(level);
        self.holes.push(holes);
        self.estimated.push(estimated);
        self.error.push(error);
    }

    /// How many days there are, holes included.
    #[must_use]
    pub fn len(&self) -> usize {
        self.level.len() - 1
    }

    /// Whether there is no day at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The first day.
    #[must_use]
    pub const fn first(&self) -> NaiveDate {
        self.first
    }

    /// The newest day used.
    #[must_use]
    pub fn newest(&self) -> Option<NaiveDate> {
        self.len().checked_sub(1).map(|last| self.date(last))
    }

    /// Position of a day, counted from the first; `None` before it.
    #[must_use]
    pub fn position(&self, date: NaiveDate) -> Option<usize> {
        usize::try_from((date - self.first).num_days()).ok()
    }

    /// The day at a position.
    #[must_use]
    pub fn date(&self, position: usize) -> NaiveDate {
        self.first
            .checked_add_days(Days::new(position as u64))
            .unwrap_or(NaiveDate::MAX)
    }

    /// Degree-days from `from` to `to`, both counted, or the first day in between that is missing.
    ///
    /// # Errors
    /// The first day without temperatures.
    pub fn sum(&self, from: NaiveDate, to: NaiveDate) -> Result<Accumulated, NaiveDate> {
        let start = self.position(from).ok_or(from)?;
        let end = self.position(to).map_or(start, |last| last + 1).max(start);
        if end > self.len() {
            return Err(self.date(self.len().max(start)));
        }
        if let Some(hole) = self.first_hole(start, end) {
            return Err(hole);
        }
        Ok(Accumulated {
            degree_days: DegreeDays::from_fahrenheit_days(self.level[end] - self.level[start]),
            estimated_days: self.estimated[end] - self.estimated[start],
            expected_error: DegreeDays::from_fahrenheit_days(
                (self.error[end] - self.error[start]).max(0.0).sqrt(),
            ),
        })
    }

    /// The first day without temperatures among positions `start..end`.
    pub(crate) fn first_hole(&self, start: usize, end: usize) -> Option<NaiveDate> {
        if self.holes[start] == self.holes[end] {
            return None;
        }
        let offset = self.holes[start + 1..=end].partition_point(|&h| h == self.holes[start]);
        Some(self.date(start + offset))
    }

    /// The level before position `position`, °F-days since the first day.
    pub(crate) fn level(&self, position: usize) -> f64 {
        self.level[position]
    }

    /// The heat of the day at a position, °F-days; `None` for a hole or beyond the newest day.
    pub(crate) fn daily(&self, position: usize) -> Option<f64> {
        let whole = self.holes.get(position + 1)? == self.holes.get(position)?;
        whole.then(|| self.level[position + 1] - self.level[position])
    }

    /// Mean heat a day of positions `start..end`, °F-days, over the days that are there; `None`
    /// where more than one in [`MEAN_BEARS_HOLES_OF`] is missing or not yet known.
    pub(crate) fn mean(&self, start: usize, end: usize) -> Option<f64> {
        let days = end.checked_sub(start).filter(|days| *days > 0)?;
        let holes = (*self.holes.get(end)? - *self.holes.get(start)?) as usize;
        let there = days - holes;
        (holes * MEAN_BEARS_HOLES_OF <= days)
            .then(|| (self.level[end] - self.level[start]) / there as f64)
    }

    /// Whether the day at a position is an estimate.
    pub(crate) fn is_estimated(&self, position: usize) -> bool {
        self.estimated[position + 1] > self.estimated[position]
    }

    /// Whether the measured days after an estimated one have brought as much heat as it and the estimated
    /// days that run up to it: had those brought none, the level would be as high by now. `None` for
    /// a measured day.
    pub(crate) fn borne_out(&self, position: usize) -> Option<bool> {
        let run = (0..=position).rev();
        let first = run.take_while(|&day| self.is_estimated(day)).last()?;
        let brought = self.level[position + 1] - self.level[first];
        let measured = (position + 1..self.len()).filter(|&day| !self.is_estimated(day));
        let since: f64 = measured.filter_map(|day| self.daily(day)).sum();
        Some(since >= brought)
    }

    /// Where the level reaches `target`, searched from position `start`: the position of the day
    /// plus the share of that day's heat it took, in `(position, position + 1]`; `None` when the
    /// newest day does not reach it. A target already reached before `start` gives `start` itself.
    pub(crate) fn crossing(&self, start: usize, target: f64) -> Option<f64> {
        let reached = start
            + self
                .level
                .get(start..)?
                .partition_point(|&level| level < target);
        if reached == start {
            return Some(start as f64);
        }
        let after = *self.level.get(reached)?;
        let before = self.level[reached - 1];
        Some((reached - 1) as f64 + (target - before) / (after - before))
    }
}

/// The expected error of a day's degree-days, °F-days. Between the thresholds they are the mean of both
/// temperatures less the lower one, so each error counts by half.
fn day_error(day: &CompletedDay) -> f64 {
    let half = |element| {
        let estimate = day.origin(element).estimate();
        estimate.map_or(0.0, |estimate| estimate.error_f / 2.0)
    };
    half(Element::Min).hypot(half(Element::Max))
}

/// Errors of a run of estimated days: one that is too warm is mostly followed by another.
#[derive(Default)]
struct ErrorRun {
    /// What the days before have in common with the next.
    shared: f64,
}

impl ErrorRun {
    /// Correlation of the errors of neighbouring days, with and without fall-backs together. With it the
    /// error expected of a sum over a gap of 1 to 14 days is near the one found, see `tests/proofs`.
    const DAY_TO_DAY: f64 = 0.5;

    /// How much a day's error adds to the squared error of the sum, °F-days squared.
    fn with(&mut self, error: f64) -> f64 {
        let added = error * (error + 2.0 * self.shared);
        self.shared = match error > 0.0 {
            true => (self.shared + error) * Self::DAY_TO_DAY,
            false => 0.0,
        };
        added
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::heat::{Cutoff, Method, Thresholds};
    use crate::id::StationId;
    use crate::temperature::{Extremes, Temperature, Unit};
    use proptest::prelude::*;

    use crate::weather::{Origin, ReceivedDay, StationWeather};

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
    }

    fn model(method: Method) -> HeatModel {
        let f = |v| Temperature::new(v, Unit::Fahrenheit).unwrap();
        let thresholds = Thresholds::new(f(55.0), f(94.0)).unwrap();
        HeatModel::new(thresholds, method, Cutoff::Horizontal).unwrap()
    }

    /// The ten-day run of the reference values, one day each from the first of June.
    fn ten_days() -> Vec<ReceivedDay> {
        let days = [
            (48., 74.),
            (50., 79.),
            (52., 84.),
            (55., 88.),
            (58., 93.),
            (60., 97.),
            (63., 101.),
            (66., 105.),
            (62., 95.),
            (54., 80.),
        ];
        days.iter()
            .zip(1..)
            .map(|(&(min, max), day)| ReceivedDay {
                date: date(day),
                min: Some(min),
                max: Some(max),
                unit: Unit::Fahrenheit,
                min_flag: None,
                max_flag: None,
            })
            .collect()
    }

    fn series(days: &[ReceivedDay], method: Method) -> HeatSeries {
        let weather = StationWeather::alone(StationId::new("S").unwrap(), days, date(30));
        HeatSeries::new(weather.series().unwrap(), model(method))
    }

    #[test]
    fn ten_days_add_up_as_by_numerical_integration() {
        // Cumulative °F-days by numerical integration of the curves, 55/94 °F horizontal.
        let cases = [
            (Method::SingleSine, 10, 180.665),
            (Method::SingleTriangle, 10, 181.200),
            (Method::DoubleSine, 9, 169.418),
        ];
        for (method, last, expected) in cases {
            let sum = series(&ten_days(), method)
                .sum(date(1), date(last))
                .unwrap();
            let got = sum.degree_days.fahrenheit_days();
            assert!((got - expected).abs() < 1e-3, "{method}: {got}");
        }
    }

    #[test]
    fn the_newest_day_of_a_double_method_is_absent() {
        let heat = series(&ten_days(), Method::DoubleSine);
        assert_eq!(heat.newest(), Some(date(9)));
        assert_eq!(heat.sum(date(1), date(10)), Err(date(10)));
    }

    #[test]
    fn a_hundred_degree_days_are_reached_a_third_into_the_seventh_day() {
        let heat = series(&ten_days(), Method::SingleSine);
        let crossing = heat.crossing(0, 100.0).unwrap();
        assert!((crossing - 6.330).abs() < 1e-3, "{crossing}");
        assert_eq!(heat.date(crossing.floor() as usize), date(7));
    }

    #[test]
    fn a_sum_across_a_hole_names_the_first_missing_day() {
        let mut days = ten_days();
        days.drain(2..8);
        let heat = series(&days, Method::SingleSine);
        assert_eq!(heat.sum(date(1), date(10)), Err(date(3)));
        assert!(heat.sum(date(9), date(10)).is_ok());
    }

    #[test]
    fn a_mean_is_of_whole_days_and_bears_one_missing_in_twenty() {
        let days: Vec<ReceivedDay> = (0..3)
            .flat_map(|_| ten_days())
            .zip(1..)
            .collect::<Vec<_>>()
            .into_iter()
            .map(|(day, number)| ReceivedDay {
                date: date(number),
                ..day
            })
            .collect();
        let whole = series(&days[..20], Method::SingleSine);
        // Twice the ten days: the mean of both is that of one, 180.665 / 10.
        let mean = whole.mean(0, 20).unwrap();
        assert!((mean - 18.0665).abs() < 1e-4, "{mean}");
        assert_eq!(whole.mean(0, 21), None);
        assert_eq!(whole.mean(5, 5), None);
        assert_eq!(whole.daily(20), None);
    }

    #[test]
    fn estimated_days_are_counted() {
        let mut days = ten_days();
        days.drain(2..4);
        let sum = series(&days, Method::SingleSine)
            .sum(date(1), date(10))
            .unwrap();
        assert_eq!(sum.estimated_days, 2);
    }

    #[test]
    fn estimated_days_are_borne_out_by_as_much_measured_heat_after_them() {
        // Twenty days of 20 °F-days each; the 5th and 6th are estimated, which brings 40 by the 6th.
        let day = |number| ReceivedDay {
            date: date(number),
            min: Some(65.0 + f64::from(number % 2)),
            max: Some(85.0 - f64::from(number % 2)),
            unit: Unit::Fahrenheit,
            min_flag: None,
            max_flag: None,
        };
        let known_to = |last: u32| {
            let days: Vec<_> = (1..=last)
                .filter(|d| ![5, 6].contains(d))
                .map(day)
                .collect();
            series(&days, Method::SingleSine)
        };
        let heat = known_to(20);
        assert_eq!((heat.borne_out(3), heat.borne_out(6)), (None, None));
        // Estimates are near 20 and not quite: after one day not yet, after three of 20 at last.
        let borne_out = |last| known_to(last).borne_out(5);
        assert_eq!([7, 9].map(borne_out), [Some(false), Some(true)]);
    }

    proptest! {
        /// Days of any temperatures, some missing: every sum is that of its days, added up one by one,
        /// and across a missing day there is none.
        #[test]
        fn a_sum_is_that_of_its_days(
            days in prop::collection::vec((any::<bool>(), 20.0..80.0_f64, 0.0..50.0_f64), 2..60),
            from in 0_usize..60, to in 0_usize..60,
            method in prop::sample::select(&[Method::SingleSine, Method::DoubleTriangle][..]),
        ) {
            let extremes = |min: f64, range: f64| {
                let f = |value| Temperature::new(value, Unit::Fahrenheit).unwrap();
                Extremes::new(f(min), f(min + range)).unwrap()
            };
            let calendar: Vec<Option<CompletedDay>> = days
                .iter()
                .map(|(known, min, range)| known.then(|| CompletedDay {
                    extremes: extremes(*min, *range),
                    min: Origin::Measured,
                    max: Origin::Measured,
                }))
                .collect();
            let model = model(method);
            let by_hand: Vec<Option<f64>> = calendar
                .iter()
                .enumerate()
                .map(|(at, day)| {
                    let next = calendar.get(at + 1).copied().flatten().map(|next| next.extremes.min());
                    Some(model.daily((*day)?.extremes, next)?.fahrenheit_days())
                })
                .collect();
            let heat = HeatSeries::new(&CompletedSeries::new(date(1), calendar), model);
            let (from, to) = (from.min(to).min(heat.len() - 1), from.max(to).min(heat.len() - 1));
            let expected: Option<f64> = by_hand[from..=to].iter().copied().sum();
            match (heat.sum(heat.date(from), heat.date(to)), expected) {
                (Ok(sum), Some(expected)) => {
                    prop_assert!((sum.degree_days.fahrenheit_days() - expected).abs() < 1e-9);
                }
                (Err(hole), None) => {
                    let first = by_hand[from..=to].iter().position(Option::is_none).unwrap();
                    prop_assert_eq!(hole, heat.date(from + first));
                }
                (got, expected) => prop_assert!(false, "{got:?} {expected:?}"),
            }
        }
    }
}
