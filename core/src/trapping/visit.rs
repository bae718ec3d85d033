//! Readings of traps, as entered.

use std::collections::{BTreeSet, HashMap};
use std::ops::Range;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::TrapId;
use crate::orchard::Part;

/// One reading of one trap on one date. A count that was not given is `None`, never zero.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Visit {
    /// The trap.
    pub trap: TrapId,
    /// The civil day it was read.
    pub date: NaiveDate,
    /// Eggs counted, with those left on at the visit before.
    pub eggs: Option<u32>,
    /// Whether the eggs were left on the trap, where the next reading counts them again.
    pub eggs_left: bool,
    /// Moths of both sexes together, unsexed.
    pub moths: Option<u32>,
    /// Males.
    pub males: Option<u32>,
    /// Females.
    pub females: Option<u32>,
    /// Whether the trap could be read (not wet, lost, overgrown).
    pub readable: bool,
    /// The parts that were replaced.
    pub serviced: BTreeSet<Part>,
    /// A remark.
    pub note: String,
}

impl Visit {
    /// A visit at which nothing was counted or serviced yet, of a trap that can be read.
    #[must_use]
    pub const fn new(trap: TrapId, date: NaiveDate) -> Self {
        Self {
            trap,
            date,
            eggs: None,
            eggs_left: false,
            moths: None,
            males: None,
            females: None,
            readable: true,
            serviced: BTreeSet::new(),
            note: String::new(),
        }
    }

    /// All moths of this reading: the unsexed count plus the sexed ones.
    #[must_use]
    pub fn all_moths(&self) -> Option<u32> {
        [self.moths, self.males, self.females]
            .into_iter()
            .flatten()
            .reduce(u32::saturating_add)
    }

    /// Whether the trap was read, or was to be read and could not; else it was only serviced.
    #[must_use]
    pub const fn is_reading(&self) -> bool {
        let counted = self.eggs.is_some()
            || self.moths.is_some()
            || self.males.is_some()
            || self.females.is_some();
        counted || !self.readable
    }

    /// Whether what was caught before it is in no later count: it was read, could not be read, or went
    /// with the liner.
    pub(super) fn clears(&self) -> bool {
        self.is_reading() || self.serviced.contains(&Part::Liner)
    }

    /// Whether its moths were counted and females are all of them that count.
    pub(super) fn is_of_females_alone(&self) -> bool {
        self.females.is_some() && self.females == self.all_moths()
    }
}

/// Eggs laid since the visit before, for each visit of one trap, oldest first: a count less what had
/// been left on. A trap that could not be read, as when it was lost, starts anew.
pub(super) fn new_eggs(visits: &[Visit]) -> impl Iterator<Item = Option<u32>> {
    let mut left = 0;
    visits.iter().map(move |visit| {
        let new = visit.eggs.map(|eggs| eggs.saturating_sub(left));
        left = left_after(left, visit);
        new
    })
}

/// Eggs on a trap after its last visit, which the next count includes.
pub(super) fn eggs_left_on(visits: &[Visit]) -> u32 {
    visits.iter().fold(0, left_after)
}

/// Eggs on a trap after a visit that found so many of the visit before.
fn left_after(left: u32, visit: &Visit) -> u32 {
    match visit.eggs {
        Some(eggs) if visit.eggs_left => eggs,
        None if visit.readable => left,
        Some(_) | None => 0,
    }
}

/// Visits sorted by trap and day, so that one trap's are a slice.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Visits {
    sorted: Vec<Visit>,
    /// Where each trap's are: a night asks for them again and again.
    places: HashMap<TrapId, Range<usize>>,
}

impl Visits {
    /// Sorts the visits; there is one a trap and day.
    #[must_use]
    pub fn new(mut visits: Vec<Visit>) -> Self {
        visits.sort_by(|a, b| (&a.trap, a.date).cmp(&(&b.trap, b.date)));
        let mut places = HashMap::new();
        let mut from = 0;
        for of_trap in visits.chunk_by(|a, b| a.trap == b.trap) {
            let to = from + of_trap.len();
            places.insert(of_trap[0].trap.clone(), from..to);
            from = to;
        }
        Self {
            sorted: visits,
            places,
        }
    }

    /// One trap's visits up to and including a day, oldest first.
    #[must_use]
    pub fn of(&self, trap: &TrapId, up_to: NaiveDate) -> &[Visit] {
        let place = self.places.get(trap).cloned().unwrap_or_default();
        let of_trap = &self.sorted[place];
        &of_trap[..of_trap.partition_point(|visit| visit.date <= up_to)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    fn visit(trap: &str, day: u32) -> Visit {
        Visit {
            eggs: Some(0),
            ..sample::visit(trap, NaiveDate::from_ymd_opt(2022, 5, day).unwrap())
        }
    }

    #[test]
    fn one_traps_visits_stop_at_the_day_of_telling() {
        let visits = Visits::new(vec![
            visit("B", 3),
            visit("A", 9),
            visit("A", 2),
            visit("A", 5),
        ]);
        let seen = visits.of(&TrapId::new("A").unwrap(), visit("A", 5).date);
        let days: Vec<_> = seen.iter().map(|v| v.date.to_string()).collect();
        assert_eq!(days, ["2022-05-02", "2022-05-05"]);
        assert!(
            visits
                .of(&TrapId::new("C").unwrap(), NaiveDate::MAX)
                .is_empty()
        );
    }

    #[test]
    fn eggs_left_on_are_counted_once() {
        let read = |day, eggs, eggs_left| Visit {
            eggs,
            eggs_left,
            ..visit("A", day)
        };
        // 4 new, left on; of 6 then 2 are new, taken off; 3 new after that.
        let visits = [
            read(2, Some(4), true),
            read(5, None, false),
            read(9, Some(6), false),
            read(12, Some(3), false),
        ];
        let new: Vec<Option<u32>> = new_eggs(&visits).collect();
        assert_eq!(new, [Some(4), None, Some(2), Some(3)]);
    }

    #[test]
    fn a_count_that_was_not_given_is_not_zero() {
        assert_eq!(visit("A", 1).all_moths(), None);
        let sexed = Visit {
            males: Some(3),
            females: Some(1),
            ..visit("A", 1)
        };
        assert_eq!(sexed.all_moths(), Some(4));
    }
}
