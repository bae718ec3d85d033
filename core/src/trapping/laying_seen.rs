//! Egg laying of a later generation, as egg traps that are read on show it: eggs again after a low.

use chrono::{NaiveDate, TimeDelta};

use super::Check;
use super::check::CONSECUTIVE_DAYS;

/// Eggs so long before or after a computed date are another generation's: two of them are about four weeks
/// apart at the closest (Rijal 2018, UC Cooperative Extension; 723 °F-days in July).
pub(crate) const AROUND: TimeDelta = TimeDelta::days(28);
/// At a low at most so many traps have eggs. Common practice, no source.
const AT_A_LOW: usize = 1;

/// Eggs on the traps again, on two checks running after a low.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LayingSeen {
    /// The first check.
    pub from: NaiveDate,
    /// Traps with eggs on it.
    pub with_eggs: usize,
    /// Traps read.
    pub read: usize,
}

/// The first rise of eggs after a low around a computed date, among the checks of a year; `None` where eggs
/// were found all along, or none.
#[must_use]
pub fn laying_seen(checks: &[Check], around: NaiveDate) -> Option<LayingSeen> {
    let counted: Vec<&Check> = checks.iter().filter(|check| check.counts()).collect();
    let rises = |three: &&[&Check]| {
        let [low, first, second] = three else {
            return false;
        };
        let near = (first.date - around).abs() <= AROUND;
        let running = CONSECUTIVE_DAYS.contains(&(second.date - first.date).num_days());
        let up = |check: &Check| check.with_eggs() > AT_A_LOW;
        near && running && !up(low) && up(first) && up(second)
    };
    let first = counted.windows(3).find(rises)?[1];
    Some(LayingSeen {
        from: first.date,
        with_eggs: first.with_eggs(),
        read: first.judged().count(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::{Trap, TrapKind};
    use crate::sample;
    use crate::trapping::{Visit, Visits, checks};

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    /// Four traps read weekly from 15 March, each week so many of them with three eggs.
    fn seen(with_eggs: &[usize], around: NaiveDate) -> Option<LayingSeen> {
        let id = |trap: usize| format!("E{trap}");
        let traps = (0..4).map(|trap| sample::trap(&id(trap), TrapKind::Egg, day(3, 8)));
        let traps: Vec<Trap> = traps.collect();
        let read = |(week, &with_eggs): (i64, &usize)| {
            (0..4).map(move |trap| Visit {
                eggs: Some(if trap < with_eggs { 3 } else { 0 }),
                ..sample::visit(&id(trap), day(3, 15) + TimeDelta::weeks(week))
            })
        };
        let visits = Visits::new((0..).zip(with_eggs).flat_map(read).collect());
        let traps: Vec<&Trap> = traps.iter().collect();
        laying_seen(&checks(&traps, &visits, day(9, 30)), around)
    }

    #[test]
    fn eggs_again_after_a_low_are_seen_from_their_first_check_on() {
        // The first brood from 19 April to 17 May, a low to 7 June, then three traps and four.
        let weeks = [0, 0, 0, 0, 0, 3, 4, 3, 2, 2, 1, 0, 1, 3, 4, 4, 2];
        let from = LayingSeen {
            from: day(6, 14),
            with_eggs: 3,
            read: 4,
        };
        assert_eq!(seen(&weeks, day(6, 20)), Some(from));
        // Four weeks away it is another generation's.
        assert_eq!(seen(&weeks, day(7, 20)), None);
    }

    #[test]
    fn one_check_with_eggs_or_eggs_all_along_show_no_rise() {
        let once = [0, 0, 0, 0, 0, 3, 4, 3, 2, 2, 1, 0, 1, 3, 1, 0, 0];
        assert_eq!(seen(&once, day(6, 20)), None);
        let always = [0, 0, 0, 0, 0, 3, 4, 3, 2, 2, 2, 3, 2, 3, 4, 4, 2];
        assert_eq!(seen(&always, day(6, 20)), None);
    }
}
