//! When bloom, hull split, shake and egg laying come in any year, and what one trap holds: what lies outside
//! is more likely a slip of the keys, and is asked about.
//!
//! The bounds are common practice, no source; they are drawn so wide that no real year is asked about.

use chrono::{Datelike, NaiveDate, TimeDelta};

use crate::orchard::Crop;

use super::{Counted, Note, NoteKind, Visit};

/// More moths in one trap at one reading: the most of 1,296 weekly readings in the southern San Joaquin
/// Valley, 14 June to 14 September 2017, was 138 (data of Burks, Higbee & Beck 2020, J. Econ. Entomol.,
/// doi 10.1093/jee/toz363), and a liner is full at 50 to 60.
const MOST_MOTHS: u32 = 1_000;
/// More eggs on one trap at one reading.
const MOST_EGGS: u32 = 2_000;
/// Dispensers serve no longer than a season.
const LONGEST_SERVED: TimeDelta = TimeDelta::days(366);

/// What comes in one season of the year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seasonal {
    /// Full bloom.
    Bloom,
    /// First hull split of sound nuts, or the husks of walnuts, seen or expected.
    HullSplit,
    /// Shaking, done or expected.
    Shake,
    /// The start of egg laying, set by hand.
    EggLayingStart,
    /// The last day that dispensers serve.
    DispensersUntil,
}

impl Seasonal {
    /// First and last month and day; `None` where no season is known.
    const fn season(self, crop: Crop) -> Option<[(u32, u32); 2]> {
        match (self, crop) {
            (Self::Bloom, Crop::Almond) => Some([(1, 20), (3, 31)]),
            (Self::Bloom, Crop::Pistachio) => Some([(3, 1), (5, 15)]),
            (Self::Bloom, Crop::Walnut) => Some([(3, 10), (5, 31)]),
            (Self::HullSplit, Crop::Almond) => Some([(6, 1), (9, 30)]),
            (Self::HullSplit, Crop::Pistachio) => Some([(6, 15), (10, 15)]),
            (Self::HullSplit, Crop::Walnut) => Some([(7, 15), (11, 15)]),
            (Self::Shake, Crop::Almond) => Some([(7, 10), (11, 30)]),
            (Self::Shake, Crop::Pistachio) => Some([(7, 25), (11, 30)]),
            (Self::Shake, Crop::Walnut) => Some([(8, 1), (12, 15)]),
            (Self::EggLayingStart, _) => Some([(3, 1), (6, 30)]),
            (Self::DispensersUntil, _) => None,
        }
    }
}

/// What no real year has shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Implausible {
    /// A day far from its season.
    Day {
        /// What is said to come on it.
        what: Seasonal,
        /// In which crop.
        crop: Crop,
        /// The day.
        day: NaiveDate,
        /// The first and the last day that are not asked about.
        between: [NaiveDate; 2],
    },
    /// More in one trap at one reading than it holds.
    Count {
        /// What was counted.
        counted: Counted,
        /// So many.
        count: u32,
        /// Up to so many are not asked about.
        most: u32,
    },
}

/// The days of a note that lie outside of their season in a crop.
#[must_use]
pub fn implausible_days(note: &Note, crop: Crop) -> Vec<Implausible> {
    let days = seasonal_days(note).into_iter();
    days.filter_map(|(what, day)| implausible_day(what, crop, day, note.date))
        .collect()
}

fn seasonal_days(note: &Note) -> Vec<(Seasonal, NaiveDate)> {
    let of = |what, days: &[NaiveDate]| days.iter().map(|day| (what, *day)).collect();
    match note.kind {
        NoteKind::EggLayingStart(start) => {
            let within = start.within.unwrap_or([start.day; 2]);
            let mut days = [start.day, within[0], within[1]].to_vec();
            days.dedup();
            of(Seasonal::EggLayingStart, &days)
        }
        NoteKind::Bloom => of(Seasonal::Bloom, &[note.date]),
        NoteKind::HullSplit => of(Seasonal::HullSplit, &[note.date]),
        NoteKind::HullSplitCheck(check) if check.has_begun() => {
            of(Seasonal::HullSplit, &[note.date])
        }
        NoteKind::HullSplitExpected(day) => of(Seasonal::HullSplit, &[day]),
        NoteKind::ShakeExpected(days) => {
            of(Seasonal::Shake, &[days.likely, days.earliest, days.latest])
        }
        NoteKind::Shaken => of(Seasonal::Shake, &[note.date]),
        NoteKind::DispensersUntil(day) => of(Seasonal::DispensersUntil, &[day]),
        _ => Vec::new(),
    }
}

fn implausible_day(
    what: Seasonal,
    crop: Crop,
    day: NaiveDate,
    noted: NaiveDate,
) -> Option<Implausible> {
    let between = match what.season(crop) {
        Some(season) => {
            let [first, last] = season
                .map(|(month, of_month)| NaiveDate::from_ymd_opt(day.year(), month, of_month));
            [first?, last?]
        }
        None => [noted, noted + LONGEST_SERVED],
    };
    let [first, last] = between;
    (!(first..=last).contains(&day)).then_some(Implausible::Day {
        what,
        crop,
        day,
        between,
    })
}

/// A visit's count of more than one trap holds.
#[must_use]
pub fn implausible_count(visit: &Visit) -> Option<Implausible> {
    let over = |counted, count: Option<u32>, most| {
        let count = count.filter(|count| *count > most)?;
        Some(Implausible::Count {
            counted,
            count,
            most,
        })
    };
    over(Counted::Eggs, visit.eggs, MOST_EGGS)
        .or_else(|| over(Counted::Moths, visit.all_moths(), MOST_MOTHS))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;
    use crate::trapping::{Expected, SplitCheck, StartByHand};

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn asked(on: NaiveDate, kind: NoteKind, crop: Crop) -> Vec<NaiveDate> {
        let found = implausible_days(&sample::note(on, None, kind), crop);
        let days = found.into_iter().map(|found| match found {
            Implausible::Day { day, .. } => day,
            Implausible::Count { .. } => panic!("a note has no counts of traps"),
        });
        days.collect()
    }

    #[test]
    fn the_days_that_sources_give_are_never_asked_about() {
        // Doll 2017; pollinizers weeks later. Shake from August to October, the last in November.
        let check = |kind: NoteKind, days: &[(u32, u32)]| {
            for (month, day) in days {
                assert_eq!(asked(date(*month, *day), kind, Crop::Almond), []);
            }
        };
        check(NoteKind::Bloom, &[(2, 1), (2, 20), (3, 15)]);
        check(
            NoteKind::HullSplit,
            &[(6, 10), (6, 28), (7, 7), (8, 10), (9, 15)],
        );
        check(NoteKind::Shaken, &[(7, 25), (8, 12), (10, 31), (11, 10)]);
        // Biofixes of April 1 to May 5 (trade tables of degree-days), April 22 at Arbuckle in 2023.
        for (month, day) in [(3, 20), (4, 1), (4, 22), (5, 15)] {
            let start = NoteKind::EggLayingStart(date(month, day).into());
            assert_eq!(asked(date(6, 1), start, Crop::Almond), []);
        }
    }

    #[test]
    fn a_month_mistaken_is_asked_about_in_each_kind_of_note_that_has_a_season() {
        let check = |kind, on, crop| assert_eq!(asked(on, kind, crop), [on]);
        check(NoteKind::HullSplit, date(4, 1), Crop::Almond);
        check(NoteKind::HullSplit, date(1, 7), Crop::Walnut);
        check(NoteKind::Bloom, date(12, 2), Crop::Almond);
        check(NoteKind::Bloom, date(2, 10), Crop::Pistachio);
        check(NoteKind::Shaken, date(2, 8), Crop::Almond);
        check(NoteKind::Shaken, date(7, 20), Crop::Walnut);
        let of_january = NoteKind::EggLayingStart(date(1, 4).into());
        assert_eq!(asked(date(4, 20), of_january, Crop::Almond), [date(1, 4)]);
        let within = NoteKind::EggLayingStart(StartByHand {
            day: date(4, 10),
            within: Some([date(1, 8), date(4, 12)]),
        });
        assert_eq!(asked(date(4, 20), within, Crop::Almond), [date(1, 8)]);
        let expected = NoteKind::HullSplitExpected(date(10, 6));
        assert_eq!(asked(date(6, 1), expected, Crop::Almond), [date(10, 6)]);
        let shake = NoteKind::ShakeExpected(Expected {
            earliest: date(1, 5),
            likely: date(8, 10),
            latest: date(8, 20),
        });
        assert_eq!(asked(date(7, 20), shake, Crop::Almond), [date(1, 5)]);
        let years_on = NaiveDate::from_ymd_opt(2202, 9, 30).unwrap();
        let until = NoteKind::DispensersUntil(years_on);
        assert_eq!(asked(date(3, 28), until, Crop::Almond), [years_on]);
        let until = NoteKind::DispensersUntil(date(9, 30));
        assert_eq!(asked(date(3, 28), until, Crop::Almond), []);
    }

    #[test]
    fn a_check_is_asked_about_only_where_it_shows_split() {
        let check = |percent| {
            NoteKind::HullSplitCheck(SplitCheck {
                top: Some(percent),
                middle: None,
                low: None,
                trees: 6,
                stage: None,
            })
        };
        assert_eq!(asked(date(5, 20), check(0.0), Crop::Almond), []);
        assert_eq!(asked(date(5, 20), check(2.0), Crop::Almond), [date(5, 20)]);
    }

    #[test]
    fn more_than_a_trap_holds_is_asked_about() {
        let visit = |eggs, males, females| Visit {
            eggs,
            males,
            females,
            ..sample::visit("T1", date(7, 1))
        };
        let asked = |visit: Visit| implausible_count(&visit).is_some();
        assert!(!asked(visit(None, Some(138), None)));
        assert!(asked(visit(None, Some(3_000), None)));
        // Of both sexes together.
        assert!(asked(visit(None, Some(600), Some(600))));
        assert!(!asked(visit(Some(400), None, None)));
        assert!(asked(visit(Some(2_500), None, None)));
    }
}
