//! A station's own climate: what is usual on each day of the year, from the years before a season.

use chrono::{Datelike, NaiveDate};

use super::{Element, Record};

/// Days to each side of a day of the year whose values also count for it.
const WINDOW_DAYS: usize = 15;
/// Values in the window that a normal needs: about five years of it. Common practice, no source.
const ENOUGH_VALUES: f64 = 5.0 * (2 * WINDOW_DAYS + 1) as f64;
/// Values so many standard deviations from the first mean are left out of the second one, so that
/// a few wild ones do not widen what is usual.
const LEFT_OUT_BEYOND: f64 = 4.0;
/// Days of a leap year: 29 February has a place of its own.
const DAYS: usize = 366;

/// What is usual for one element on one day of the year, °F.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Normal {
    /// The mean.
    pub(super) mean: f64,
    /// The standard deviation of single days.
    pub(super) deviation: f64,
}

/// What is usual on each day of the year.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Climate {
    min: Vec<Option<Normal>>,
    max: Vec<Option<Normal>>,
}

impl Climate {
    /// From the years of a record before `year`.
    pub(super) fn before(record: &Record, year: i32) -> Self {
        let places = places(record, year);
        let of = |element| normals(record, element, &places);
        Self {
            min: of(Element::Min),
            max: of(Element::Max),
        }
    }

    /// Whether the record was long enough to tell what is usual.
    pub(super) fn is_known(&self) -> bool {
        let known = |normals: &[Option<Normal>]| normals.iter().any(Option::is_some);
        known(&self.min) && known(&self.max)
    }

    /// What is usual on a date; `None` with less than about five years.
    pub(super) fn normal(&self, element: Element, date: NaiveDate) -> Option<Normal> {
        self.of(element)[place(date)]
    }

    fn of(&self, element: Element) -> &[Option<Normal>] {
        match element {
            Element::Min => &self.min,
            Element::Max => &self.max,
        }
    }
}

/// A date's place among the 366 of a leap year, 0 for 1 January.
fn place(date: NaiveDate) -> usize {
    let ordinal = date.ordinal0() as usize;
    ordinal + usize::from(!date.leap_year() && ordinal >= 59)
}

/// The place of each position of a record before a year.
fn places(record: &Record, year: i32) -> Vec<usize> {
    let days = record.first().iter_days().take(record.len());
    days.take_while(|date| date.year() < year)
        .map(place)
        .collect()
}

fn normals(record: &Record, element: Element, places: &[usize]) -> Vec<Option<Normal>> {
    let values = || {
        let cells = record.cells(element).iter().zip(places);
        cells.filter_map(|(cell, place)| Some((*place, cell.usable()?)))
    };
    let first = windowed(values());
    let usual = |(place, value): &(usize, f64)| {
        first[*place].is_none_or(|normal: Normal| {
            (value - normal.mean).abs() <= LEFT_OUT_BEYOND * normal.deviation
        })
    };
    windowed(values().filter(usual))
}

/// Mean and deviation over a window around each day of the year.
fn windowed(values: impl Iterator<Item = (usize, f64)>) -> Vec<Option<Normal>> {
    let mut sums = [[0.0; 3]; DAYS];
    for (place, value) in values {
        let sum = &mut sums[place];
        sum[0] += 1.0;
        sum[1] += value;
        sum[2] += value * value;
    }
    let mut window = [0.0; 3];
    let add = |window: &mut [f64; 3], place: usize, sign: f64| {
        for (total, part) in window.iter_mut().zip(sums[place % DAYS]) {
            *total += sign * part;
        }
    };
    for place in 0..=2 * WINDOW_DAYS {
        add(&mut window, place + DAYS - WINDOW_DAYS, 1.0);
    }
    (0..DAYS)
        .map(|place| {
            let normal = normal(window);
            add(&mut window, place + DAYS - WINDOW_DAYS, -1.0);
            add(&mut window, place + WINDOW_DAYS + 1, 1.0);
            normal
        })
        .collect()
}

fn normal([count, sum, squares]: [f64; 3]) -> Option<Normal> {
    (count >= ENOUGH_VALUES).then(|| {
        let mean = sum / count;
        Normal {
            mean,
            deviation: (squares / count - mean * mean).max(0.0).sqrt(),
        }
    })
}
