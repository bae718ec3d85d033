//! New days beside what is usual at their station, or possible at all.

use std::ops::RangeInclusive;

use chrono::Datelike;

use crate::statistics::median;
use crate::temperature::{Temperature, Unit};
use crate::weather::record::{Cell, is_plausible};
use crate::weather::{Element, Location, Suspicion};

use super::written::readings;
use super::{Judge, Looks, Maxima, Oddity, Value, days};

/// Fewer new days than this are left to screening.
const ENOUGH_NEW: usize = 10;
/// New days lie so many standard deviations from what is usual in the median: another unit makes six and more,
/// the warmest and coldest ten days of the records two and a half.
const UNLIKE: f64 = 3.5;
/// Where nothing is known of what is usual, the medians of so many new days must be those of some place where
/// almonds grow.
const ENOUGH_WITHOUT_CLIMATE: usize = 30;
/// Medians of minima and of maxima in such a place, °F. Sixty days of the records: 27 to 74, and 48 to 105.
const ORCHARD_F: [(f64, f64); 2] = [(5.0, 90.0), (40.0, 115.0)];
/// Of so many days the median of maximum less minimum is no less than this, °F. Forty days of the records: 7 and more. Numbers
/// taken for tenths have a tenth of it.
const NARROW: (usize, f64) = (40, 6.8);

impl Judge<'_> {
    pub(super) fn unlike(&self, values: &[Value]) -> Result<(), Oddity> {
        let new = self.unjudged(values);
        let days = days(new.iter().copied());
        let Some(median_f) = self.off(&new, days, |value_f| value_f) else {
            return Ok(());
        };
        let mut readings = readings(self.unit);
        let fits = readings.find(|(_, read)| self.off(&new, days, read).is_none());
        Err(Oddity::Unlike {
            days,
            median_f,
            maxima: self.maxima(&new),
            looks: fits.map(|(written, _)| Looks::OtherUnit(written)),
        })
    }

    /// What maxima of the newest month look like, for whoever knows the place.
    fn maxima(&self, new: &[&Value]) -> Option<Maxima> {
        let maxima = || new.iter().filter(|value| value.element == Element::Max);
        let month = maxima().next_back()?.date.month();
        let of_month = maxima().filter(|value| value.date.month() == month);
        let mut values: Vec<f64> = of_month
            .filter_map(|value| Temperature::new(value.answered_f(), Unit::Fahrenheit))
            .map(|value| value.in_unit(self.unit))
            .collect();
        values.sort_by(f64::total_cmp);
        let tenth = values.len() / 10;
        Some(Maxima {
            month,
            unit: self.unit,
            low: *values.get(tenth)?,
            high: *values.iter().rev().nth(tenth)?,
        })
    }

    /// The new values; without a climate those too that came before in answers too short to be judged.
    fn unjudged<'v>(&self, values: &'v [Value]) -> Vec<&'v Value> {
        let is_new = |value: &&Value| value.known == Cell::Missing && self.is_judged(value);
        let new: Vec<&Value> = values.iter().filter(is_new).collect();
        let known = values.iter().filter(|value| value.known != Cell::Missing);
        if new.is_empty() || self.climate.is_some() || days(known) >= ENOUGH_NEW {
            return new;
        }
        let is_judged = |value: &&Value| self.is_judged(value);
        values.iter().filter(is_judged).collect()
    }

    /// A new value that is doubtful by itself is left to screening; one that is none in this unit and one in
    /// the other is part of the picture.
    fn is_judged(&self, value: &Value) -> bool {
        let is_plausible =
            |value_f| Temperature::new(value_f, Unit::Fahrenheit).is_some_and(is_plausible);
        match value.answered {
            Cell::Suspect(_, Suspicion::OutOfBounds) => {
                readings(self.unit).any(|(_, read)| is_plausible(read(value.answered_f())))
            }
            Cell::Suspect(..) => false,
            _ => true,
        }
    }

    /// Whether new days cannot be of that place, with how far they lie from what is usual where that is known.
    fn off(&self, new: &[&Value], days: usize, read: impl Fn(f64) -> f64) -> Option<Option<f64>> {
        let Some(climate) = self.climate else {
            return self.is_off_anywhere(new, days, read).then_some(None);
        };
        if days < ENOUGH_NEW {
            return None;
        }
        let from_usual = |value: &&Value| {
            let normal = climate.normal(value.element, value.date)?;
            let difference = read(value.answered_f()) - normal.mean;
            Some((
                difference.abs(),
                difference.abs() / normal.deviation.max(1.0),
            ))
        };
        let (mut by, mut deviations): (Vec<f64>, Vec<f64>) =
            new.iter().filter_map(from_usual).unzip();
        (median(&mut deviations)? > UNLIKE).then(|| median(&mut by))
    }

    /// Whether new days cannot be of the declared place, nor of any orchard's.
    fn is_off_anywhere(&self, new: &[&Value], days: usize, read: impl Fn(f64) -> f64) -> bool {
        let of = |element| new.iter().filter(move |value| value.element == element);
        let median_of = |element| {
            let mut values: Vec<f64> = of(element).map(|value| read(value.answered_f())).collect();
            median(&mut values)
        };
        let is_of_no_orchard = |element| {
            let (low, high) = ORCHARD_F[element as usize];
            median_of(element).is_some_and(|median| !(low..=high).contains(&median))
        };
        let is_of_another_place = |location: Location| {
            let maxima: Vec<&Value> = of(Element::Max).copied().collect();
            let mostly = |is_beyond: fn(f64, &RangeInclusive<f64>) -> bool| {
                let is_beyond = |value: &&&Value| {
                    let possible = location.possible_maxima_f(value.date);
                    is_beyond(read(value.answered_f()), &possible)
                };
                maxima.iter().filter(is_beyond).count() * 2 > maxima.len()
            };
            mostly(|value_f, possible| value_f < *possible.start())
                || mostly(|value_f, possible| value_f > *possible.end())
        };
        days >= ENOUGH_WITHOUT_CLIMATE && Element::ALL.into_iter().any(is_of_no_orchard)
            || days >= NARROW.0
                && daily_range(new, &read).is_some_and(|median| median.abs() < NARROW.1)
            || days >= ENOUGH_NEW && self.location.is_some_and(is_of_another_place)
    }
}

/// The median of maximum less minimum, of days that have both, °F.
fn daily_range(values: &[&Value], read: impl Fn(f64) -> f64) -> Option<f64> {
    let pairs = values
        .windows(2)
        .filter(|pair| pair[0].date == pair[1].date);
    let range = |pair: &[&Value]| read(pair[1].answered_f()) - read(pair[0].answered_f());
    median(&mut pairs.map(range).collect::<Vec<f64>>())
}
