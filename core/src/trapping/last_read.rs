//! The newest reading of each kind of trap in a block, beside those of a week and a year before.

use chrono::{Datelike, Days, NaiveDate};

use crate::orchard::{Trap, TrapKind};
use crate::same_day::same_day;

use super::{Catch, Visit, Visits, catches};

/// A round spans at most so many days.
const ROUND_DAYS: u64 = 2;
/// An older reading is none that the season stands by.
const OLDEST_DAYS: u64 = 42;
/// A week before lies so many days back; a round may be a day or two off its weekday.
const WEEK_BEFORE: [u64; 2] = [5, 9];
/// A round of a year before lies so near to the same day of the year.
const NEAR_DAYS: u64 = 4;

/// The newest round of one kind of trap.
#[derive(Debug, Clone, PartialEq)]
pub struct LastRead {
    /// Its last day.
    pub on: NaiveDate,
    /// What it caught.
    pub catch: Catch,
    /// What the round of a week before caught; `None` where there was none.
    pub week_before: Option<Catch>,
    /// What the round of the same days a year before caught; `None` where there was none.
    pub year_before: Option<Catch>,
}

/// The newest rounds up to a day, by kind of trap. `traps`: all of the block, of earlier years too.
#[must_use]
pub fn last_read(traps: &[&Trap], visits: &Visits, as_of: NaiveDate) -> Vec<LastRead> {
    let of_kind = |kind| -> Vec<&Trap> {
        let of_kind = traps.iter().filter(|trap| trap.kind == kind);
        of_kind.copied().collect()
    };
    let kinds = [
        TrapKind::Egg,
        TrapKind::Pheromone,
        TrapKind::PheromonePpo,
        TrapKind::BaitBag,
    ];
    let kinds = kinds.into_iter();
    kinds
        .filter_map(|kind| newest(&of_kind(kind), visits, as_of))
        .collect()
}

fn newest(traps: &[&Trap], visits: &Visits, as_of: NaiveDate) -> Option<LastRead> {
    let oldest = as_of.checked_sub_days(Days::new(OLDEST_DAYS))?;
    let (on, catch) = round(traps, visits, oldest, as_of)?;
    let [nearest, farthest] = WEEK_BEFORE.map(|days| on.checked_sub_days(Days::new(days)));
    let year_before = same_day(on, on.year() - 1);
    let near = |day: NaiveDate| {
        let around = Days::new(NEAR_DAYS);
        round(
            traps,
            visits,
            day.checked_sub_days(around)?,
            day.checked_add_days(around)?,
        )
    };
    Some(LastRead {
        on,
        catch,
        week_before: round(traps, visits, farthest?, nearest?).map(|(_, catch)| catch),
        year_before: year_before.and_then(near).map(|(_, catch)| catch),
    })
}

/// The newest round whose last day lies within two days: that day, and what it caught.
fn round(
    traps: &[&Trap],
    visits: &Visits,
    from: NaiveDate,
    to: NaiveDate,
) -> Option<(NaiveDate, Catch)> {
    let read = |trap: &&Trap| -> Option<NaiveDate> {
        let seen = visits.of(&trap.id, to).iter().rev();
        let mut read = seen.filter(|visit| Visit::is_reading(visit) && visit.readable);
        read.next().map(|visit| visit.date)
    };
    let on = traps.iter().filter_map(read).max()?;
    let first = on.checked_sub_days(Days::new(ROUND_DAYS - 1))?;
    let catch = catches(traps, visits, first, on).into_iter().next()?;
    (on >= from && catch.traps_read > 0).then_some((on, catch))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn read(trap: &str, on: NaiveDate, males: u32) -> Visit {
        Visit {
            males: Some(males),
            ..sample::visit(trap, on)
        }
    }

    #[test]
    fn the_newest_round_stands_beside_those_of_a_week_and_a_year_before() {
        let last_year = NaiveDate::from_ymd_opt(2021, 5, 1).unwrap();
        let traps = ["P1", "P2"].map(|id| sample::trap(id, TrapKind::Pheromone, last_year));
        let traps: Vec<&Trap> = traps.iter().collect();
        let of_last_year = NaiveDate::from_ymd_opt(2021, 6, 22).unwrap();
        let visits = Visits::new(vec![
            read("P1", of_last_year, 4),
            read("P1", day(6, 6), 1),
            read("P1", day(6, 13), 3),
            read("P2", day(6, 14), 5),
            read("P1", day(6, 20), 9),
            read("P2", day(6, 21), 7),
        ]);
        let seen = |as_of| {
            let seen = last_read(&traps, &visits, as_of);
            seen.first().map(|read| {
                let counts = [&read.week_before, &read.year_before];
                let counts = counts.map(|catch| catch.as_ref().map(|catch| catch.count));
                (read.on, read.catch.count, counts)
            })
        };
        assert_eq!(seen(day(6, 21)), Some((day(6, 21), 16, [Some(8), Some(4)])));
        // On the morning of the next round it is the last one still.
        assert_eq!(seen(day(6, 28)), seen(day(6, 21)));
        assert_eq!(seen(day(6, 6)), Some((day(6, 6), 1, [None, None])));
        assert_eq!(seen(day(9, 1)), None);
    }
}
