//! A station's days as one unbroken calendar, with short gaps filled and marked.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use crate::temperature::Extremes;

use super::{ReceivedDay, Screened, Suspicion, screen};

/// The longest run of missing days that is filled by a straight line between the days on both
/// sides. Longer gaps stay open, and sums across them cannot be told. Common practice, no source.
pub const LONGEST_INTERPOLATED_GAP_DAYS: u16 = 5;

/// Where the temperatures of a completed day come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Read at the station.
    Measured,
    /// Estimated on a straight line across a gap of so many days.
    Interpolated {
        /// Length of the whole gap.
        gap_days: u16,
    },
}

/// One day that can be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CompletedDay {
    /// Minimum and maximum.
    pub extremes: Extremes,
    /// Measured or estimated.
    pub origin: Origin,
}

/// Every civil day from the first received one to the newest usable one, in order; `None` where
/// nothing usable is known.
#[derive(Debug, Clone, PartialEq)]
pub struct CompletedSeries {
    first: NaiveDate,
    days: Vec<Option<CompletedDay>>,
    suspects: Vec<(NaiveDate, Suspicion)>,
}

impl CompletedSeries {
    /// The first day of the calendar.
    #[must_use]
    pub const fn first(&self) -> NaiveDate {
        self.first
    }

    /// The days, the first one being [`CompletedSeries::first`].
    #[must_use]
    pub fn days(&self) -> &[Option<CompletedDay>] {
        &self.days
    }

    /// Days that were received but not used, oldest first.
    #[must_use]
    pub fn suspects(&self) -> &[(NaiveDate, Suspicion)] {
        &self.suspects
    }
}

/// Screens what was received before `as_of`, lays it on a calendar and fills its short gaps. A gap
/// is filled only between two days known by then, so nothing reaches across `as_of`. `None` when no
/// day is usable.
#[must_use]
pub fn complete(received: &[ReceivedDay], as_of: NaiveDate) -> Option<CompletedSeries> {
    let mut usable = BTreeMap::new();
    let mut suspects = Vec::new();
    for day in received.iter().filter(|day| day.date < as_of) {
        match screen(day) {
            Screened::Usable(extremes) => {
                usable.insert(day.date, extremes);
            }
            Screened::Missing => {}
            Screened::Suspect(reason) => suspects.push((day.date, reason)),
        }
    }
    suspects.sort_by_key(|&(date, _)| date);
    let (&first, _) = usable.first_key_value()?;
    let mut days: Vec<Option<CompletedDay>> = Vec::with_capacity(usable.len());
    let mut before: Option<Extremes> = None;
    for (date, extremes) in usable {
        let position = days_between(first, date);
        let gap = position - days.len();
        match before {
            Some(left) if gap <= usize::from(LONGEST_INTERPOLATED_GAP_DAYS) => {
                days.extend(straight_line(left, extremes, gap).map(Some));
            }
            _ => days.resize(position, None),
        }
        days.push(Some(CompletedDay {
            extremes,
            origin: Origin::Measured,
        }));
        before = Some(extremes);
    }
    Some(CompletedSeries {
        first,
        days,
        suspects,
    })
}

fn days_between(first: NaiveDate, later: NaiveDate) -> usize {
    usize::try_from((later - first).num_days()).expect("the calendar starts at its first day")
}

fn straight_line(
    left: Extremes,
    right: Extremes,
    gap: usize,
) -> impl Iterator<Item = CompletedDay> {
    let gap_days = u16::try_from(gap).expect("only short gaps are filled");
    (1..=gap_days).filter_map(move |step| {
        let share = f64::from(step) / f64::from(gap_days + 1);
        let min = left.min().toward(right.min(), share);
        let max = left.max().toward(right.max(), share);
        Some(CompletedDay {
            extremes: Extremes::new(min, max)?,
            origin: Origin::Interpolated { gap_days },
        })
    })
}

/// The day before; the calendar of any station starts well after year one.
pub(crate) fn day_before(date: NaiveDate) -> NaiveDate {
    date.checked_sub_days(Days::new(1)).unwrap_or(date)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::temperature::Unit;

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
    }

    fn received(day: u32, min: f64, max: f64) -> ReceivedDay {
        ReceivedDay {
            date: date(day),
            min: Some(min),
            max: Some(max),
            unit: Unit::Fahrenheit,
            min_flag: None,
            max_flag: None,
        }
    }

    fn max_f(day: Option<CompletedDay>) -> Option<f64> {
        day.map(|d| d.extremes.max().fahrenheit())
    }

    #[test]
    fn a_short_gap_is_filled_on_a_straight_line_and_marked() {
        let series =
            complete(&[received(1, 50.0, 80.0), received(4, 56.0, 92.0)], date(9)).unwrap();
        let maxima: Vec<_> = series.days().iter().map(|&d| max_f(d)).collect();
        assert_eq!(maxima, [Some(80.0), Some(84.0), Some(88.0), Some(92.0)]);
        let origins: Vec<_> = series.days().iter().flatten().map(|d| d.origin).collect();
        let filled = Origin::Interpolated { gap_days: 2 };
        assert_eq!(
            origins,
            [Origin::Measured, filled, filled, Origin::Measured]
        );
    }

    #[test]
    fn a_long_gap_stays_open() {
        let series =
            complete(&[received(1, 50.0, 80.0), received(8, 56.0, 92.0)], date(9)).unwrap();
        assert_eq!(series.days().len(), 8);
        assert_eq!(series.days().iter().flatten().count(), 2);
    }

    #[test]
    fn nothing_reaches_across_the_day_of_telling() {
        let known = [received(1, 50.0, 80.0), received(4, 56.0, 92.0)];
        let series = complete(&known, date(4)).unwrap();
        assert_eq!(series.days().len(), 1);
    }

    #[test]
    fn a_suspect_day_is_listed_and_its_place_filled() {
        let days = [
            received(1, 50.0, 80.0),
            received(2, 90.0, 60.0),
            received(3, 52.0, 84.0),
        ];
        let series = complete(&days, date(9)).unwrap();
        assert_eq!(series.suspects(), [(date(2), Suspicion::MinAboveMax)]);
        assert_eq!(max_f(series.days()[1]), Some(82.0));
    }
}
