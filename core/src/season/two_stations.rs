//! What an insect's season would be by either of two stations.

use chrono::{Days, NaiveDate};

use crate::heat::HeatModel;
use crate::insect::{CountsFrom, Insect, Mark};
use crate::temperature::DegreeDays;
use crate::weather::OwnRecord;

use super::{StationHeat, TrueCrossing, WhyNoCrossing, new_year, true_crossing};

/// Degree-days of two stations over the days that both have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharedHeat {
    /// The days.
    pub days: u32,
    /// Of one station.
    pub one: DegreeDays,
    /// Of the other.
    pub other: DegreeDays,
}

/// When either station reaches a mark.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkBeside<'a> {
    /// The mark.
    pub mark: &'a Mark,
    /// Degree-days to it from the day that all is counted from: its own and those of the marks below it.
    pub after: DegreeDays,
    /// By one station.
    pub one: Result<TrueCrossing, WhyNoCrossing>,
    /// By the other.
    pub other: Result<TrueCrossing, WhyNoCrossing>,
}

impl MarkBeside<'_> {
    /// Days by which the other station reaches it later; below zero it is earlier.
    #[must_use]
    pub fn days_later(&self) -> Option<f64> {
        Some(self.other.as_ref().ok()?.at - self.one.as_ref().ok()?.at)
    }
}

/// Adds up the days from `from` to `to`, both counted, on which both records have trusted temperatures.
#[must_use]
pub fn shared_heat(
    one: &OwnRecord,
    other: &OwnRecord,
    model: HeatModel,
    from: NaiveDate,
    to: NaiveDate,
) -> SharedHeat {
    let daily = |record: &OwnRecord, date: NaiveDate| {
        let next = date.checked_add_days(Days::new(1));
        let next_min = next.and_then(|next| Some(record.extremes(next)?.min()));
        let heat = model.daily(record.extremes(date)?, next_min)?;
        Some(heat.fahrenheit_days())
    };
    let (mut days, mut sums) = (0, [0.0; 2]);
    for date in from.iter_days().take_while(|date| *date <= to) {
        if let Some((one, other)) = daily(one, date).zip(daily(other, date)) {
            days += 1;
            sums[0] += one;
            sums[1] += other;
        }
    }
    let [one, other] = sums.map(DegreeDays::from_fahrenheit_days);
    SharedHeat { days, one, other }
}

/// When each mark of an insect is reached at either station, had egg laying begun on `start` and hull split held
/// nothing up. Marks that count from 1 January do so.
#[must_use]
pub fn marks_beside<'a>(
    insect: &'a Insect,
    one: &StationHeat,
    other: &StationHeat,
    start: NaiveDate,
) -> Vec<MarkBeside<'a>> {
    let marks = insect.marks.iter().enumerate();
    let beside = marks.map(|(place, mark)| {
        let (from_start, after) = total(&insect.marks, place);
        let from = if from_start { start } else { new_year(start) };
        let reached = |heat| true_crossing(heat, from, after);
        MarkBeside {
            mark,
            after,
            one: reached(one),
            other: reached(other),
        }
    });
    beside.collect()
}

/// Whether a mark counts from the start in the end, and all degree-days from there.
fn total(marks: &[Mark], place: usize) -> (bool, DegreeDays) {
    let own = marks[place].at.fahrenheit_days();
    match marks[place].from {
        CountsFrom::EggLayingStart => (true, marks[place].at),
        CountsFrom::NewYear => (false, marks[place].at),
        CountsFrom::Mark(below) => {
            let (from_start, before) = total(marks, below);
            let all = before.fahrenheit_days() + own;
            (from_start, DegreeDays::from_fahrenheit_days(all))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::StationId;
    use crate::sample::insect;
    use crate::temperature::Unit;
    use crate::weather::{ReceivedDay, StationFacts, StationWeather};

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// From 1 January 2022 on the same heat every day, though not the same temperatures: around 60 to 70 it is 10
    /// °F-days by hand, around 62 to 78 it is 15.
    fn days((min, max): (f64, f64), holes: &[&str]) -> Vec<ReceivedDay> {
        let dates = day("2022-01-01").iter_days().take(250);
        let received = dates.enumerate().map(|(place, date)| {
            let unrest = (place % 3) as f64;
            let is_there = !holes.contains(&&*date.to_string());
            ReceivedDay {
                date,
                min: Some(min - unrest),
                max: is_there.then_some(max + unrest),
                unit: Unit::Fahrenheit,
                min_flag: None,
                max_flag: None,
            }
        });
        received.collect()
    }

    fn as_of() -> NaiveDate {
        day("2022-09-08")
    }

    fn record(days: &[ReceivedDay]) -> OwnRecord {
        OwnRecord::new(days, &[], &StationFacts::default(), as_of()).unwrap()
    }

    fn heat(days: &[ReceivedDay]) -> StationHeat {
        let id = StationId::new("S").unwrap();
        StationHeat::new(&StationWeather::alone(id, days, as_of()), insect().heat)
    }

    #[test]
    fn degree_days_are_those_of_days_that_both_have() {
        let one = record(&days((60.0, 70.0), &[]));
        let other = record(&days((62.0, 78.0), &["2022-03-02"]));
        let shared = shared_heat(
            &one,
            &other,
            insect().heat,
            day("2022-03-01"),
            day("2022-03-10"),
        );
        assert_eq!(shared.days, 9);
        assert!((shared.one.fahrenheit_days() - 90.0).abs() < 1e-9);
        assert!((shared.other.fahrenheit_days() - 135.0).abs() < 1e-9);
    }

    /// 100 degree-days from 1 March: ten days of 10, 6 2/3 of 15; then 1056.
    #[test]
    fn marks_are_days_apart_as_by_hand() {
        let (one, other) = (
            heat(&days((60.0, 70.0), &[])),
            heat(&days((62.0, 78.0), &[])),
        );
        let insect = insect();
        let marks = marks_beside(&insect, &one, &other, day("2022-03-01"));
        let apart: Vec<(f64, Option<f64>)> = marks
            .iter()
            .map(|beside| (beside.after.fahrenheit_days(), beside.days_later()))
            .collect();
        let expected = [
            (100.0, Some(100.0 / 15.0 - 10.0)),
            (1056.0, Some(1056.0 / 15.0 - 105.6)),
            (1779.0, Some(1779.0 / 15.0 - 177.9)),
            (2502.0, None),
        ];
        assert_eq!(apart.len(), expected.len());
        for ((after, found), (total, by_hand)) in apart.iter().zip(expected) {
            assert_eq!(*after, total);
            let near = |(found, by_hand): (&f64, f64)| (found - by_hand).abs() < 1e-6;
            assert!(
                found.as_ref().zip(by_hand).is_none_or(near),
                "{found:?} {by_hand:?}"
            );
            assert_eq!(found.is_some(), by_hand.is_some());
        }
    }
}
