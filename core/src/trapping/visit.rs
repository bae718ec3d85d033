//! Readings of traps and field notes, as entered.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use crate::id::{BlockId, TrapId};
use crate::orchard::Part;

/// One reading of one trap on one date. A count that was not given is `None`, never zero.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Visit {
    /// The trap.
    pub trap: TrapId,
    /// The civil day it was read.
    pub date: NaiveDate,
    /// Eggs counted and taken off.
    pub eggs: Option<u32>,
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
    /// All moths of this reading: the unsexed count plus the sexed ones.
    #[must_use]
    pub fn all_moths(&self) -> Option<u32> {
        [self.moths, self.males, self.females]
            .into_iter()
            .flatten()
            .reduce(u32::saturating_add)
    }
}

/// Visits sorted by trap and day, so that one trap's are a slice.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Visits(Vec<Visit>);

impl Visits {
    /// Sorts the visits; there is one a trap and day.
    #[must_use]
    pub fn new(mut visits: Vec<Visit>) -> Self {
        visits.sort_by(|a, b| (&a.trap, a.date).cmp(&(&b.trap, b.date)));
        Self(visits)
    }

    /// One trap's visits up to and including a day, oldest first.
    #[must_use]
    pub fn of(&self, trap: &TrapId, up_to: NaiveDate) -> &[Visit] {
        let from = self.0.partition_point(|v| &v.trap < trap);
        let rest = &self.0[from..];
        let of_trap = |v: &&Visit| v.date <= up_to && &v.trap == trap;
        &rest[..rest.iter().take_while(of_trap).count()]
    }
}

/// A field note about a block, or one variety of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// The block.
    pub block: BlockId,
    /// The variety, where the note is about one.
    pub variety: Option<String>,
    /// The day it was seen or decided.
    pub date: NaiveDate,
    /// What it says.
    pub kind: NoteKind,
    /// A remark, such as the reason for a start set by hand.
    pub text: String,
    /// Who entered it.
    pub by: String,
}

/// What a field note says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteKind {
    /// The egg-laying start is set by hand to this day.
    EggLayingStart(NaiveDate),
    /// First hull split of sound nuts was seen on the note's date.
    HullSplit,
    /// First hull split of sound nuts is expected on this day.
    HullSplitExpected(NaiveDate),
}

#[cfg(test)]
mod tests {
    use super::*;

    fn visit(trap: &str, day: u32) -> Visit {
        Visit {
            trap: TrapId::new(trap).unwrap(),
            date: NaiveDate::from_ymd_opt(2022, 5, day).unwrap(),
            eggs: Some(0),
            moths: None,
            males: None,
            females: None,
            readable: true,
            serviced: BTreeSet::new(),
            note: String::new(),
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
