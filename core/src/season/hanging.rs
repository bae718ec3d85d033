//! When traps are to be hung, by kind, crop and district, and which of a block's are still to be.

use chrono::{Datelike, Days, NaiveDate};

use crate::id::TrapId;
use crate::orchard::{Block, Crop, District, Orchard, Trap, TrapKind};
use crate::trapping::{EggLayingStart, StartStatus};

use super::traps_wanted::{Purpose, Wanted, trap_plan};

/// So long before its date a trap is asked for, so that a digest that comes once a week asks twice. Common
/// practice, no source.
const ASKED_FOR_DAYS: u64 = 14;
/// Nobody is asked for a trap after that day; from memory.
const ASKED_FOR_UNTIL: (u32, u32) = (6, 30);
/// Traps that are declared for a coming day are listed so long ahead: the days between two weekly digests.
const LISTED_DAYS: u64 = 7;

/// Traps of a block that are still to be hung.
#[derive(Debug, Clone, PartialEq)]
pub struct TrapsToHang {
    /// Of which kinds.
    pub kinds: Vec<TrapKind>,
    /// By which day.
    pub by: NaiveDate,
    /// How many traps are declared to hang on a later day, and the first such day.
    pub declared: Option<(usize, NaiveDate)>,
    /// How many the sources want.
    pub wanted: Vec<Wanted>,
}

/// A trap that is declared to be hung on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hanging {
    /// The day.
    pub on: NaiveDate,
    /// What it catches.
    pub kind: TrapKind,
    /// The trap.
    pub trap: TrapId,
}

/// By which day of a year moth traps hang. The guideline for almond names pheromone traps; the others follow
/// them by common practice. "The first week of March" ends on the 7th, and so is "early March" read; walnut has
/// no published date.
pub(super) fn moth_traps_by(crop: Crop, district: District, year: i32) -> Option<NaiveDate> {
    let (month, day) = match (crop, district) {
        // UC IPM almond, bloom to postbloom.
        (Crop::Almond, District::South) => (2, 15),
        (Crop::Almond, District::North) => (3, 7),
        // Bentley, Siegel, Holtz & Daane 2008, Pistachio Production Manual.
        (Crop::Pistachio, District::South) => (3, 7),
        (Crop::Pistachio, District::North) => (3, 31),
        (Crop::Walnut, _) => return None,
    };
    NaiveDate::from_ymd_opt(year, month, day)
}

/// By which day of a year egg traps hang: in almond, in both districts (UC IPM almond, bloom to postbloom).
pub(super) fn egg_traps_by(year: i32) -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(year, 3, 15)
}

/// The first day on which a trap that hangs by a day is asked for.
fn asked_for_from(by: NaiveDate) -> NaiveDate {
    by.checked_sub_days(Days::new(ASKED_FOR_DAYS)).unwrap_or(by)
}

/// Whether traps that hang by a day are asked for on another.
pub(super) fn is_asked_for(by: NaiveDate, day: NaiveDate) -> bool {
    asked_for_from(by) <= day && (day.month(), day.day()) <= ASKED_FOR_UNTIL
}

/// Egg traps that a block needs for a start of its own, from two weeks before their date until one hangs or the
/// start is known.
pub(super) fn egg_traps_to_hang(
    orchard: &Orchard,
    block: &Block,
    start: &EggLayingStart,
    day: NaiveDate,
) -> Option<TrapsToHang> {
    let by = egg_traps_by(day.year())?;
    let needed = start.status != StartStatus::NotAsked && start.date.is_none();
    let own: Vec<&Trap> = orchard.egg_traps(&block.start_group).collect();
    let hangs = |trap: &&Trap| trap.in_use_on(day) || trap.is_down_on(day);
    if !is_asked_for(by, day) || !needed || block.borrows_start() || own.iter().any(hangs) {
        return None;
    }
    let plans = trap_plan(orchard, block, day).into_iter();
    let mut of_eggs = plans.filter(|plan| plan.purpose == Purpose::Eggs);
    Some(TrapsToHang {
        kinds: vec![TrapKind::Egg],
        by,
        declared: declared_later(own.into_iter(), day),
        wanted: of_eggs.next().map_or_else(Vec::new, |plan| plan.wanted),
    })
}

/// Moth traps of a block of each kind that hung last year or is declared for this one, from two weeks before
/// their date until one of the kind has hung. A block without moth traps is not asked for any.
pub(super) fn moth_traps_to_hang(
    orchard: &Orchard,
    block: &Block,
    day: NaiveDate,
) -> Option<TrapsToHang> {
    let by = moth_traps_by(block.crop, orchard.district(), day.year())?;
    if !is_asked_for(by, day) {
        return None;
    }
    let since_last_year = |trap: &&Trap| ends_in_or_after(trap, day.year() - 1);
    let moth = |trap: &&Trap| trap.kind != TrapKind::Egg;
    let traps = orchard.traps_of(&block.id).filter(moth);
    let traps: Vec<&Trap> = traps.filter(since_last_year).collect();
    let has_hung = |kind: TrapKind| {
        let mut of_kind = traps.iter().filter(|trap| trap.kind == kind);
        of_kind.any(|trap| trap.hung <= day && trap.removed.is_none_or(|r| r > asked_for_from(by)))
    };
    let mut kinds: Vec<TrapKind> = traps.iter().map(|trap| trap.kind).collect();
    kinds.sort_unstable();
    kinds.dedup();
    kinds.retain(|kind| !has_hung(*kind));
    let of_kinds = traps.iter().copied().filter(|t| kinds.contains(&t.kind));
    let declared = declared_later(of_kinds, day);
    let plans = trap_plan(orchard, block, day).into_iter();
    let mut of_moths = plans.filter(|plan| plan.asked_for && plan.purpose != Purpose::Eggs);
    (!kinds.is_empty()).then(|| TrapsToHang {
        kinds,
        by,
        declared,
        wanted: of_moths.next().map_or_else(Vec::new, |plan| plan.wanted),
    })
}

fn ends_in_or_after(trap: &Trap, year: i32) -> bool {
    trap.removed.is_none_or(|removed| removed.year() >= year)
}

fn declared_later<'a>(
    traps: impl Iterator<Item = &'a Trap>,
    day: NaiveDate,
) -> Option<(usize, NaiveDate)> {
    let later: Vec<NaiveDate> = traps.map(|t| t.hung).filter(|hung| *hung > day).collect();
    let first = later.iter().min()?;
    Some((later.len(), *first))
}

/// Traps of a block that are declared to be hung on a day or in the week after it, the first one first.
pub(super) fn hangings(orchard: &Orchard, block: &Block, day: NaiveDate) -> Vec<Hanging> {
    let last = day.checked_add_days(Days::new(LISTED_DAYS)).unwrap_or(day);
    let traps = orchard.traps_of(&block.id);
    let near = traps.filter(|trap| (day..=last).contains(&trap.hung));
    let mut near: Vec<Hanging> = near
        .map(|trap| Hanging {
            on: trap.hung,
            kind: trap.kind,
            trap: trap.id.clone(),
        })
        .collect();
    // As they are declared, where the day and the kind are the same.
    near.sort_by_key(|hanging| (hanging.on, hanging.kind));
    near
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::Regime;
    use crate::sample;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn last_year(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2021, month, day).unwrap()
    }

    fn removed(trap: Trap, on: NaiveDate) -> Trap {
        Trap {
            removed: Some(on),
            ..trap
        }
    }

    /// The kinds asked for on a day, with the day by which they hang.
    fn asked(
        crop: Crop,
        district: District,
        traps: &[Trap],
        day: NaiveDate,
    ) -> Option<(Vec<TrapKind>, NaiveDate)> {
        let block = Block {
            crop,
            ..sample::block()
        };
        let orchard = Orchard::new(vec![block.clone()], traps.to_vec(), Vec::new());
        let to_hang = moth_traps_to_hang(&orchard.in_district(district), &block, day)?;
        Some((to_hang.kinds, to_hang.by))
    }

    #[test]
    fn moth_traps_are_asked_for_two_weeks_before_the_date_of_the_crop_and_district() {
        use Crop::{Almond, Pistachio, Walnut};
        use District::{North, South};
        // By hand: 14 days before 15 February, 7 and 31 March.
        let table = [
            (Almond, South, Some((date(2, 1), date(2, 15)))),
            (Almond, North, Some((date(2, 21), date(3, 7)))),
            (Pistachio, South, Some((date(2, 21), date(3, 7)))),
            (Pistachio, North, Some((date(3, 17), date(3, 31)))),
            (Walnut, South, None),
        ];
        let traps = [sample::trap("P1", TrapKind::Pheromone, date(6, 20))];
        for (crop, district, dates) in table {
            let asked = |day| asked(crop, district, &traps, day).map(|(_, by)| by);
            let days = date(1, 1).iter_days().take(180);
            let first = days.clone().find(|day| asked(*day).is_some());
            assert_eq!(first, dates.map(|(from, _)| from), "{crop} {district:?}");
            let by = first.and_then(asked);
            assert_eq!(by, dates.map(|(_, by)| by), "{crop} {district:?}");
            assert_eq!(asked(date(6, 19)), by, "{crop} {district:?}");
            assert_eq!(asked(date(6, 20)), None, "{crop} {district:?}");
        }
    }

    #[test]
    fn each_kind_is_asked_for_that_hung_last_year_or_is_declared_and_has_not_hung_yet() {
        use TrapKind::{BaitBag, Egg, Pheromone, PheromonePpo};
        let old = |id: &str, kind, on| removed(sample::trap(id, kind, last_year(3, 1)), on);
        let traps = [
            old("P1", Pheromone, last_year(10, 5)),
            old("C1", PheromonePpo, last_year(10, 5)),
            sample::trap("B1", BaitBag, date(3, 20)),
            sample::trap("E1", Egg, date(3, 10)),
        ];
        let asked = |traps: &[Trap], day| {
            let asked = asked(Crop::Almond, District::South, traps, day);
            asked.map_or_else(Vec::new, |(kinds, _)| kinds)
        };
        let moths = [Pheromone, PheromonePpo, BaitBag];
        assert_eq!(asked(&traps, date(2, 7)), moths);
        // One that hangs is enough of its kind, also where it has come down again since.
        let hung = removed(sample::trap("P2", Pheromone, date(2, 10)), date(4, 1));
        let traps = [&traps[..], &[hung]].concat();
        assert_eq!(asked(&traps, date(2, 10)), moths[1..]);
        assert_eq!(asked(&traps, date(4, 2)), moths[1..2]);
        // What hung two years ago, and a block that is watched by eggs alone, are asked for nothing.
        let given_up = old("P1", Pheromone, last_year(10, 5).with_year(2020).unwrap());
        assert_eq!(asked(&[given_up, traps[3].clone()], date(2, 20)), []);
    }

    #[test]
    fn what_is_wanted_of_moth_traps_goes_by_the_regime() {
        let block = Block {
            acres: Some(120.0),
            regime: Regime::MatingDisruption,
            ..sample::block()
        };
        let traps = vec![sample::trap("C1", TrapKind::PheromonePpo, date(3, 1))];
        let orchard = Orchard::new(vec![block.clone()], traps, Vec::new());
        let to_hang = moth_traps_to_hang(&orchard, &block, date(2, 2)).unwrap();
        assert_eq!(to_hang.declared, Some((1, date(3, 1))));
        // 120 acres at 1 in 50, a part of one counting as one.
        assert_eq!(to_hang.wanted[0].traps, Some(3));
    }

    #[test]
    fn traps_that_are_declared_for_the_coming_week_are_listed_by_day() {
        let block = sample::block();
        let traps = vec![
            sample::trap("P1", TrapKind::Pheromone, date(3, 17)),
            sample::trap("E1", TrapKind::Egg, date(3, 10)),
            sample::trap("E2", TrapKind::Egg, date(3, 10)),
            sample::trap("E3", TrapKind::Egg, date(3, 18)),
            sample::trap("E4", TrapKind::Egg, date(3, 9)),
        ];
        let orchard = Orchard::new(vec![block.clone()], traps, Vec::new());
        let near = hangings(&orchard, &block, date(3, 10));
        let near: Vec<(&str, NaiveDate)> = near.iter().map(|h| (h.trap.as_str(), h.on)).collect();
        let expected = [
            ("E1", date(3, 10)),
            ("E2", date(3, 10)),
            ("P1", date(3, 17)),
        ];
        assert_eq!(near, expected);
    }
}
