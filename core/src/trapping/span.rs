//! The nights of a trap from one visit to the next: the one place where its readings are cut.

use chrono::{Datelike, NaiveDate};

use crate::orchard::{Trap, TrapKind};

use super::visit::new_eggs;
use super::{Counted, Visit, Visits};

/// The nights that one visit of a trap looks back on, to the last one that cleared the trap: also one
/// at which nothing could be read does, since the trap is cleaned or its bait replaced then. A lure or
/// bait that was changed without a reading leaves the catch where it is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span<'a> {
    /// The visit that cleared the trap before, or the day of hanging.
    pub(super) from: NaiveDate,
    /// The visit that ends it.
    pub(super) visit: &'a Visit,
    /// Nights the trap hung.
    pub(super) nights: u32,
    new_eggs: Option<u32>,
}

/// One trap's spans up to a day, oldest first.
pub(super) fn spans<'a>(
    trap: &'a Trap,
    visits: &'a Visits,
    up_to: NaiveDate,
) -> impl Iterator<Item = Span<'a>> {
    let seen = visits.of(&trap.id, up_to);
    let before = seen.iter().scan(trap.hung, |cleared, visit| {
        let from = *cleared;
        if visit.clears() {
            *cleared = visit.date;
        }
        Some(from)
    });
    let each = seen.iter().zip(before).zip(new_eggs(seen));
    each.map(|((visit, from), new_eggs)| Span {
        from,
        visit,
        nights: trap.nights(from, visit.date),
        new_eggs,
    })
}

impl Span<'_> {
    /// What came in these nights; `None` where it was not counted or could not be read, and of a trap
    /// that hung no night.
    pub(super) fn count(&self, counted: Counted) -> Option<u32> {
        let count = match counted {
            Counted::Eggs => self.new_eggs,
            Counted::Males => self.visit.males.or(self.visit.moths),
            Counted::Moths => self.visit.all_moths(),
            Counted::Females => self.visit.females,
        };
        count.filter(|_| self.visit.readable && self.nights > 0)
    }

    /// Whether it ends in the year of a day.
    pub(super) fn ends_in_year_of(&self, day: NaiveDate) -> bool {
        self.visit.date.year() == day.year()
    }
}

impl Counted {
    /// What is counted on traps of a kind, where their catch is one of females alone or not.
    pub(super) const fn on(kind: TrapKind, females_alone: bool) -> Self {
        match kind {
            TrapKind::Egg => Self::Eggs,
            TrapKind::Pheromone => Self::Males,
            TrapKind::BaitBag if females_alone => Self::Females,
            TrapKind::PheromonePpo | TrapKind::BaitBag => Self::Moths,
        }
    }
}
