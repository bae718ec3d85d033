//! A short record continued into the past by a long neighbour's, moved by the difference of the two.

use chrono::{Datelike, NaiveDate};

use super::screen::screen;
use super::{Climate, CompletedSeries, Element, MonthlyOffsets, OwnRecord};

/// So many days must be in both records, or nothing is borrowed. Common practice, no source.
const ENOUGH_DAYS: u32 = 90;
/// A month of which fewer days are in both is moved by the mean of all months. Common practice, no source.
const ENOUGH_OF_MONTH: u32 = 15;

/// Past years that are a neighbour's.
#[derive(Debug, Clone, PartialEq)]
pub enum Borrowed {
    /// They stand before the record's own.
    Moved {
        /// The neighbour's name.
        of: String,
        /// The first day that is not borrowed.
        until: NaiveDate,
        /// By how much minima and maxima were moved in the mean of the year, °F.
        by_f: [f64; 2],
    },
    /// They are not used, since too few days are in both.
    TooFew {
        /// The neighbour's name.
        of: String,
        /// The days that are in both.
        days: u32,
        /// The days that are needed.
        needed: u32,
    },
}

/// Whose past years are borrowed.
#[derive(Debug, Clone, Copy)]
pub struct Neighbour<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its record.
    pub own: &'a OwnRecord,
    /// The same, completed: a past year with a hole continues nothing.
    pub series: &'a CompletedSeries,
}

impl OwnRecord {
    /// The record with the neighbour's past years before its own first day. Days of this season are never borrowed:
    /// what is missing of it stays missing.
    #[must_use]
    pub fn with_past_of(&self, neighbour: Neighbour<'_>, as_of: NaiveDate) -> Self {
        let of = neighbour.name.to_owned();
        let offsets = neighbour.own.offsets_of(self);
        let by = Element::ALL.map(|element| offsets.of_year(element));
        let days = by.map(|offset| offset.map_or(0, |offset| offset.days));
        let days = days[0].min(days[1]);
        let (Some(min), Some(max), true) = (by[0], by[1], days >= ENOUGH_DAYS) else {
            return Self {
                borrowed: Some(Borrowed::TooFew {
                    of,
                    days,
                    needed: ENOUGH_DAYS,
                }),
                ..self.clone()
            };
        };
        let own_first = self.record().first();
        let new_year = NaiveDate::from_ymd_opt(as_of.year(), 1, 1);
        let until = new_year.map_or(own_first, |new_year| own_first.min(new_year));
        let first = neighbour.series.first();
        if first >= until {
            return self.clone();
        }
        let moved = |element, date: NaiveDate| {
            let day = neighbour.series.on(date).filter(|_| date < until)?;
            Some(day.temperature(element).fahrenheit() + by_month(&offsets, element, date)?)
        };
        let mut record = self.record().begun_on(first, moved);
        let climate = Climate::before(&record, as_of.year());
        let mut departures = screen(&mut record, &climate);
        let own_from = record.position(own_first).unwrap_or(0);
        // What is borrowed is no witness of how this station and its fall-backs go together.
        for departures in &mut departures {
            departures.of[..own_from].fill(None);
        }
        Self {
            record,
            climate,
            departures,
            modelled: self.modelled,
            borrowed: Some(Borrowed::Moved {
                of,
                until,
                by_f: [min.mean_f, max.mean_f],
            }),
        }
    }
}

/// By how much a day is moved, °F.
fn by_month(offsets: &MonthlyOffsets, element: Element, date: NaiveDate) -> Option<f64> {
    let of_month = offsets.of(element, date.month());
    let of_month = of_month.filter(|offset| offset.days >= ENOUGH_OF_MONTH);
    Some(of_month.or(offsets.of_year(element))?.mean_f)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::StationId;
    use crate::temperature::Unit;
    use crate::weather::{ReceivedDay, StationFacts, StationWeather};

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// Days whose temperatures wander by a few degrees, and in the year by twenty; moved by so many degrees.
    fn days(from: &str, to: &str, by: (f64, f64)) -> Vec<ReceivedDay> {
        let dates = day(from).iter_days().take_while(|date| *date <= day(to));
        let received = dates.map(|date| {
            let season = 10.0 - f64::from(date.month().abs_diff(7)) * 3.0;
            let unrest = f64::from((date.ordinal() * 7) % 5) - 2.0;
            ReceivedDay {
                date,
                min: Some(50.0 + season + unrest + by.0),
                max: Some(75.0 + season + unrest + by.1),
                unit: Unit::Fahrenheit,
                min_flag: None,
                max_flag: None,
            }
        });
        received.collect()
    }

    fn own(days: &[ReceivedDay], as_of: &str) -> OwnRecord {
        OwnRecord::new(days, &[], &StationFacts::default(), day(as_of)).unwrap()
    }

    fn weather(own: &OwnRecord, as_of: &str) -> StationWeather {
        StationWeather::new(StationId::new("S").unwrap(), Some(own), &[], day(as_of))
    }

    fn borrowing(short: &[ReceivedDay], long: &[ReceivedDay], as_of: &str) -> StationWeather {
        let long = own(long, as_of);
        let completed = weather(&long, as_of);
        let neighbour = Neighbour {
            name: "Long",
            own: &long,
            series: completed.series().unwrap(),
        };
        let short = own(short, as_of);
        weather(&short.with_past_of(neighbour, day(as_of)), as_of)
    }

    fn temperatures(weather: &StationWeather, date: &str) -> Option<(f64, f64)> {
        let extremes = weather.series()?.on(day(date))?.extremes;
        Some((extremes.min().fahrenheit(), extremes.max().fahrenheit()))
    }

    fn near(found: Option<(f64, f64)>, expected: (f64, f64)) {
        let (min, max) = found.unwrap();
        let is = |one: f64, other: f64| (one - other).abs() < 1e-9;
        assert!(
            is(min, expected.0) && is(max, expected.1),
            "{min} {max} {expected:?}"
        );
    }

    #[test]
    fn past_days_are_the_neighbours_moved_and_own_days_stay() {
        let short = days("2021-06-10", "2022-04-30", (3.0, -2.0));
        let mut long = days("2010-01-01", "2022-04-30", (0.0, 0.0));
        // A hole of the neighbour is completed before it is borrowed.
        long.retain(|one| one.date != day("2015-07-04"));
        let weather = borrowing(&short, &long, "2022-05-01");
        // By hand: July is 50 + 10 = 60, May is 54; 2015-05-04 is the 124th day, so 868 % 5 - 2 = 1.
        near(
            temperatures(&weather, "2015-05-04"),
            (54.0 + 1.0 + 3.0, 79.0 + 1.0 - 2.0),
        );
        assert!(temperatures(&weather, "2015-07-04").is_some());
        let own = short[0].clone();
        near(
            temperatures(&weather, "2021-06-10"),
            (own.min.unwrap(), own.max.unwrap()),
        );
        let Some(Borrowed::Moved { of, until, by_f }) = weather.borrowed() else {
            panic!("{:?}", weather.borrowed());
        };
        assert_eq!((of.as_str(), *until), ("Long", day("2021-06-10")));
        assert!((by_f[0] - 3.0).abs() < 1e-9 && (by_f[1] + 2.0).abs() < 1e-9);
        assert_eq!(weather.suspects(), []);
    }

    #[test]
    fn a_month_with_few_shared_days_is_moved_by_the_mean_of_all() {
        let mut short = days("2022-01-01", "2022-04-30", (3.0, -2.0));
        short.retain(|one| one.date.month() != 2 || one.date.day() > 20);
        let long = days("2010-01-01", "2022-04-30", (0.0, 0.0));
        let short: Vec<ReceivedDay> = short
            .into_iter()
            .map(|mut one| {
                let february = f64::from(u8::from(one.date.month() == 2));
                one.min = one.min.map(|min| min + 6.0 * february);
                one
            })
            .collect();
        let weather = borrowing(&short, &long, "2022-05-01");
        // 92 days of 3 and 8 of 9 are 348 over 100. 2015-02-10 is the 41st day: 287 % 5 - 2 = 0, and 50 + 10 - 15 = 45.
        near(
            temperatures(&weather, "2015-02-10"),
            (45.0 + 3.48, 70.0 - 2.0),
        );
        // 2015-03-01 is the 60th day: 420 % 5 - 2 = -2, and 50 + 10 - 12 = 48.
        near(
            temperatures(&weather, "2015-03-01"),
            (48.0 - 2.0 + 3.0, 73.0 - 2.0 - 2.0),
        );
    }

    #[test]
    fn days_of_this_season_are_never_borrowed() {
        let short = days("2022-01-20", "2022-06-30", (3.0, -2.0));
        let long = days("2010-01-01", "2022-06-30", (0.0, 0.0));
        let weather = borrowing(&short, &long, "2022-07-01");
        assert!(temperatures(&weather, "2021-12-31").is_some());
        assert_eq!(temperatures(&weather, "2022-01-01"), None);
        assert_eq!(temperatures(&weather, "2022-01-19"), None);
        assert!(temperatures(&weather, "2022-01-20").is_some());
    }

    #[test]
    fn nothing_is_borrowed_for_too_few_shared_days_or_without_past() {
        let short = days("2022-01-20", "2022-04-10", (3.0, -2.0));
        let long = days("2010-01-01", "2022-04-10", (0.0, 0.0));
        let weather = borrowing(&short, &long, "2022-07-01");
        let too_few = Borrowed::TooFew {
            of: "Long".to_owned(),
            days: 81,
            needed: 90,
        };
        assert_eq!(weather.borrowed(), Some(&too_few));
        assert_eq!(weather.series().unwrap().first(), day("2022-01-20"));
        let own = days("2021-01-20", "2022-04-10", (3.0, -2.0));
        let younger = days("2021-03-01", "2022-04-10", (0.0, 0.0));
        let weather = borrowing(&own, &younger, "2022-07-01");
        assert_eq!(weather.borrowed(), None);
    }
}
