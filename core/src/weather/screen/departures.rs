//! How far each value of a record is from what is usual, in standard deviations.

use chrono::NaiveDate;

use crate::statistics::{mean, median};
use crate::weather::{Climate, Element, Normal, Record};

/// How much of the mean departure on both sides a day has. Ten records of the San Joaquin Valley up to
/// 2004: 0.77 to 0.92.
const CARRIED_FROM_BOTH_SIDES: f64 = 0.9;
/// How much of the departure on one side a day has, on the same records.
const CARRIED_FROM_ONE_SIDE: f64 = 0.7;
/// The standard deviation of single days about what is usual, where a record is too short to tell,
/// °F. Those records have 5.5 and 8.6 in spring, 5.7 and 7.2 in the whole year: rounded between them.
const USUAL_DEVIATION_F: [f64; 2] = [6.0, 8.0];

/// One element's departures, day by day.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::weather) struct Departures {
    /// The element.
    pub(in crate::weather) element: Element,
    /// The first day.
    first: NaiveDate,
    /// The departure of each usable value. Without a climate it is from 0 °F, and only differences
    /// between days mean anything.
    pub(in crate::weather) of: Vec<Option<f64>>,
    /// Whether the departures are from the station's climate.
    pub(in crate::weather) from_climate: bool,
    /// How much of the mean departure on both sides a day has.
    pub(super) carried: f64,
}

impl Departures {
    /// Of the usable values of a record.
    pub(in crate::weather) fn new(record: &Record, climate: &Climate, element: Element) -> Self {
        let from_climate = climate.is_known();
        let usual = USUAL_DEVIATION_F[element as usize];
        let dated = record.cells(element).iter().zip(record.first().iter_days());
        let of = dated
            .map(|(cell, date)| {
                let value = cell.usable()?;
                match climate.normal(element, date) {
                    Some(normal) => Some((value - normal.mean) / deviation(normal)),
                    None if from_climate => None,
                    None => Some(value / usual),
                }
            })
            .collect();
        Self {
            element,
            first: record.first(),
            of,
            from_climate,
            carried: if from_climate {
                CARRIED_FROM_BOTH_SIDES
            } else {
                1.0
            },
        }
    }

    /// One element's departures at some stations.
    pub(in crate::weather) fn of_element<'a>(
        stations: &[&'a [Self; 2]],
        element: Element,
    ) -> Vec<&'a Self> {
        let of_station = |both: &&'a [Self; 2]| &both[element as usize];
        stations.iter().map(of_station).collect()
    }

    /// What is usual on a day, and the standard deviation in which departures from it are told, °F.
    pub(in crate::weather) fn scale(&self, climate: &Climate, date: NaiveDate) -> (f64, f64) {
        match climate.normal(self.element, date) {
            Some(normal) if self.from_climate => (normal.mean, deviation(normal)),
            _ => (0.0, USUAL_DEVIATION_F[self.element as usize]),
        }
    }

    /// Days from this calendar's first day to another's.
    pub(in crate::weather) fn offset_to(&self, other: &Self) -> i64 {
        (self.first - other.first).num_days()
    }

    /// The departure on a day of a calendar that begins `offset` days after this one.
    pub(in crate::weather) fn at(&self, position: usize, offset: i64) -> Option<f64> {
        let there = usize::try_from(position as i64 + offset).ok()?;
        *self.of.get(there)?
    }

    /// The departures on the day before and the day after.
    pub(super) fn both_sides(&self, at: usize) -> Option<(f64, f64)> {
        Some((self.before(at)?, self.after(at)?))
    }

    /// The departure that the days beside let expect; `None` without any.
    pub(super) fn expected(&self, at: usize) -> Option<f64> {
        match (self.before(at), self.after(at)) {
            (Some(before), Some(after)) => Some(self.carried * f64::midpoint(before, after)),
            (Some(one), None) | (None, Some(one)) if self.from_climate => {
                Some(CARRIED_FROM_ONE_SIDE * one)
            }
            (Some(one), None) | (None, Some(one)) => Some(one),
            (None, None) => None,
        }
    }

    fn before(&self, at: usize) -> Option<f64> {
        self.of[at.checked_sub(1)?]
    }

    fn after(&self, at: usize) -> Option<f64> {
        *self.of.get(at + 1)?
    }

    /// For each day how far it lies from some stations, by the median of theirs; `None` where it or all of
    /// them are missing.
    pub(super) fn apart_from(&self, stations: &[&Self]) -> Vec<Option<Apart>> {
        let medians = self.medians(stations);
        let on = |at: Option<usize>| medians.get(at?).copied().flatten();
        let difference = |at: Option<usize>| Some(self.of.get(at?).copied().flatten()? - on(at)?);
        (0..self.of.len())
            .map(|at| {
                let (before, after) = (at.checked_sub(1), Some(at + 1));
                let (own, there) = (self.of[at]?, medians[at]?);
                let three = [Some(there), on(before), on(after)];
                let three = || three.iter().flatten().copied();
                let above = own - three().fold(f64::NEG_INFINITY, f64::max);
                let below = three().fold(f64::INFINITY, f64::min) - own;
                let beside = [difference(before), difference(after)];
                let beside = mean(beside.into_iter().flatten()).unwrap_or(0.0);
                Some(Apart {
                    from_three_days: above.max(below).max(0.0),
                    jump: (own - there - beside).abs(),
                })
            })
            .collect()
    }

    /// The median over some stations on each day of this calendar.
    fn medians(&self, stations: &[&Self]) -> Vec<Option<f64>> {
        let offsets: Vec<i64> = stations.iter().map(|other| self.offset_to(other)).collect();
        let mut values = Vec::with_capacity(stations.len());
        (0..self.of.len())
            .map(|at| {
                let there = stations.iter().zip(&offsets);
                values.clear();
                values.extend(there.filter_map(|(other, offset)| {
                    other.at(at, *offset).filter(|_| other.from_climate)
                }));
                median(&mut values)
            })
            .collect()
    }
}

/// How far one day lies from other stations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Apart {
    /// From the nearest of the day itself, the one before and the one after there.
    pub(super) from_three_days: f64,
    /// How much farther than on the days beside, where they are known.
    pub(super) jump: f64,
}

/// A record that hardly varies does not make every wiggle a departure, °F.
fn deviation(normal: Normal) -> f64 {
    normal.deviation.max(1.0)
}
