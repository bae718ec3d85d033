//! When each trap is read next.

use chrono::{Days, NaiveDate};

use crate::id::TrapId;
use crate::orchard::{Trap, TrapKind};

use super::Visits;
use super::visit::eggs_left_on;

/// Reading interval of every trap: at least weekly. Common practice, no source.
const READ_EVERY_DAYS: u64 = 7;
/// Reading interval of egg traps while the start is awaited: twice a week (UC IPM almond guideline),
/// which on fixed weekdays is every third and fourth day in turn; the shorter one, so that a round
/// is listed on the morning it is made.
const READ_EGG_TRAPS_EVERY_DAYS: u64 = 3;

/// How the egg traps of a block are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EggRoutine {
    /// The start is awaited: twice a week.
    TwiceAWeek,
    /// As all traps.
    Weekly,
    /// Sound nuts have begun to split and compete with the bait, as they do with that of bait bags (CABI
    /// Agriculture and Bioscience 2024, 5:30): a reading says little then. That it may be left out is
    /// common practice, no source.
    Optional,
}

impl EggRoutine {
    /// The routine in a block: by whether its start is awaited, and its first hull split of sound nuts.
    #[must_use]
    pub const fn of(start_awaited: bool, first_split: Option<NaiveDate>) -> Self {
        match (first_split, start_awaited) {
            (Some(_), _) => Self::Optional,
            (None, true) => Self::TwiceAWeek,
            (None, false) => Self::Weekly,
        }
    }

    pub(super) const fn every_days(self) -> u64 {
        match self {
            Self::TwiceAWeek => READ_EGG_TRAPS_EVERY_DAYS,
            Self::Weekly | Self::Optional => READ_EVERY_DAYS,
        }
    }
}

/// When a trap should be read next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingDue {
    /// The trap.
    pub trap: TrapId,
    /// Its kind.
    pub kind: TrapKind,
    /// The round on which it is read; empty where none is given.
    pub route: String,
    /// When it was last visited; `None` when never since hanging.
    pub last: Option<NaiveDate>,
    /// What was counted then, moths of both sexes together; `None` where it could not be read.
    pub last_count: Option<u32>,
    /// The day the next reading is due.
    pub due: NaiveDate,
    /// Days from one reading to the next.
    pub every_days: u64,
    /// Whether it may be left out.
    pub optional: bool,
    /// Eggs left on at the last visit, which the next count includes.
    pub eggs_left: u32,
}

/// The next readings of the given traps that are in use. A trap that was taken down and hung again
/// is due from the day it came back: its nights are counted from there.
#[must_use]
pub fn readings_due<'a>(
    traps: impl Iterator<Item = &'a Trap>,
    visits: &Visits,
    egg_traps: EggRoutine,
    as_of: NaiveDate,
) -> Vec<ReadingDue> {
    traps
        .filter(|trap| trap.in_use_on(as_of))
        .map(|trap| reading_due(trap, visits, egg_traps, as_of))
        .collect()
}

fn reading_due(
    trap: &Trap,
    visits: &Visits,
    egg_traps: EggRoutine,
    as_of: NaiveDate,
) -> ReadingDue {
    let routine = match trap.kind {
        TrapKind::Egg => egg_traps,
        _ => EggRoutine::Weekly,
    };
    let seen = visits.of(&trap.id, as_of);
    let reading = seen.iter().rfind(|visit| visit.is_reading());
    let last = reading.map(|visit| visit.date);
    let since = last.into_iter().chain(trap.hung_again(as_of));
    let every_days = routine.every_days();
    ReadingDue {
        trap: trap.id.clone(),
        kind: trap.kind,
        route: trap.place.route.clone(),
        last,
        last_count: reading
            .filter(|visit| visit.readable)
            .and_then(|visit| visit.eggs.or(visit.all_moths())),
        due: after(since.fold(trap.hung, NaiveDate::max), every_days),
        every_days,
        optional: routine == EggRoutine::Optional,
        eggs_left: eggs_left_on(seen),
    }
}

/// A day so many days on.
pub(super) fn after(date: NaiveDate, days: u64) -> NaiveDate {
    date.checked_add_days(Days::new(days))
        .unwrap_or(NaiveDate::MAX)
}

#[cfg(test)]
mod tests {
    use chrono::Datelike;

    use super::*;
    use crate::orchard::Pull;
    use crate::sample;
    use crate::trapping::{Note, NoteKind, Visit, first_split};

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn due(trap: &Trap, visits: Vec<Visit>, egg_traps: EggRoutine, as_of: NaiveDate) -> ReadingDue {
        let visits = Visits::new(visits);
        let mut found = readings_due(std::iter::once(trap), &visits, egg_traps, as_of);
        found.pop().unwrap()
    }

    #[test]
    fn egg_traps_are_read_twice_a_week_until_the_start_is_confirmed() {
        let trap = sample::trap("E1", TrapKind::Egg, date(4, 1));
        let day = |routine| due(&trap, vec![], routine, date(4, 2)).due;
        assert_eq!(day(EggRoutine::TwiceAWeek), date(4, 4));
        assert_eq!(day(EggRoutine::Weekly), date(4, 8));
        // Other traps keep to a week.
        let trap = sample::trap("P1", TrapKind::Pheromone, date(4, 1));
        let found = due(&trap, vec![], EggRoutine::TwiceAWeek, date(4, 2));
        assert_eq!((found.due, found.every_days), (date(4, 8), 7));
    }

    #[test]
    fn egg_traps_may_go_unread_once_sound_nuts_have_split_and_other_traps_may_not() {
        let split = sample::note(date(7, 4), Some("Nonpareil"), NoteKind::HullSplit);
        let last_year = Note {
            date: date(7, 4).with_year(2021).unwrap(),
            ..split.clone()
        };
        let notes = [last_year, split];
        assert_eq!(first_split(&notes, date(7, 3)), None);
        let seen = first_split(&notes, date(7, 4));
        assert_eq!(seen, Some(date(7, 4)));
        let routine = EggRoutine::of(true, seen);
        let optional = |kind| {
            let trap = sample::trap("T1", kind, date(6, 1));
            due(&trap, vec![], routine, date(7, 5)).optional
        };
        assert!(optional(TrapKind::Egg));
        assert!(!optional(TrapKind::BaitBag));
    }

    #[test]
    fn a_trap_hung_again_is_due_from_the_day_it_came_back() {
        let pulled = |back| Trap {
            pulls: vec![Pull {
                down: date(8, 10),
                back,
            }],
            ..sample::trap("P1", TrapKind::Pheromone, date(4, 1))
        };
        let read = |on| Visit {
            males: Some(0),
            ..sample::visit("P1", on)
        };
        let visits = || vec![read(date(8, 10))];
        let back = pulled(Some(date(8, 24)));
        // Read when it was taken down, back on the 24th: a week on is the 31st, not the 17th.
        let found = due(&back, visits(), EggRoutine::Weekly, date(8, 25));
        assert_eq!((found.last, found.due), (Some(date(8, 10)), date(8, 31)));
        // Read once after that, its last reading counts again.
        let read = vec![read(date(8, 10)), read(date(8, 29))];
        assert_eq!(
            due(&back, read, EggRoutine::Weekly, date(8, 30)).due,
            date(9, 5)
        );
        // While it is down nobody is reminded of it.
        let traps = [pulled(None)];
        let found = readings_due(
            traps.iter(),
            &Visits::default(),
            EggRoutine::Weekly,
            date(8, 20),
        );
        assert_eq!(found, []);
    }

    #[test]
    fn eggs_that_were_left_on_are_named_until_a_count_without_them() {
        let trap = sample::trap("E1", TrapKind::Egg, date(4, 1));
        let read = |day, eggs, eggs_left| Visit {
            eggs,
            eggs_left,
            ..sample::visit("E1", date(4, day))
        };
        let left = |visits| due(&trap, visits, EggRoutine::Weekly, date(4, 30)).eggs_left;
        assert_eq!(left(vec![read(4, Some(5), true)]), 5);
        // A visit without a count left them where they were.
        assert_eq!(left(vec![read(4, Some(5), true), read(6, None, false)]), 5);
        assert_eq!(
            left(vec![read(4, Some(5), true), read(8, Some(7), false)]),
            0
        );
    }
}
