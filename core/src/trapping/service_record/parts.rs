//! Parts changed in time of those due: each against the service life that is declared for it.

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::orchard::{Part, Trap};

use super::super::service::{life_end, products_of, put_in};
use super::{PartRecord, Served};

/// A part that served past its life.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LateChange {
    /// The last day of its service life.
    pub due: NaiveDate,
    /// The trap.
    pub trap: TrapId,
    /// When it was changed; `None` where it was not, before the trap was taken away or to the last day looked at.
    pub changed: Option<NaiveDate>,
    /// Nights that the trap hung with it past its life.
    pub nights: u32,
}

/// How a part ended.
enum End {
    Changed(NaiveDate),
    /// The trap was taken away or down, or it is the last day looked at.
    Not(NaiveDate),
}

/// The record of each part that came due or was changed.
pub(super) fn parts(served: &Served<'_>, traps: &[&Trap]) -> Vec<PartRecord> {
    let records = Part::ALL.into_iter().map(|part| {
        let mut record = PartRecord {
            part,
            due: 0,
            in_time: 0,
            late: Vec::new(),
        };
        for trap in traps {
            of_trap(served, trap, &mut record);
        }
        record
            .late
            .sort_by(|a, b| (a.due, &a.trap).cmp(&(b.due, &b.trap)));
        record
    });
    records.filter(|record| record.due > 0).collect()
}

fn of_trap(served: &Served<'_>, trap: &Trap, record: &mut PartRecord) {
    let [first, last] = served.within;
    let mut products = products_of(served.orchard, trap);
    let Some((_, product)) = products.find(|(part, _)| *part == record.part) else {
        return;
    };
    let begun: Vec<NaiveDate> = put_in(trap, record.part, served.visits, last).collect();
    let ended = trap.removed.map_or(last, |removed| removed.min(last));
    let ends = begun.iter().skip(1).copied().map(End::Changed);
    for (&since, end) in begun.iter().zip(ends.chain([End::Not(ended)])) {
        let due = life_end(since, product);
        let (until, changed) = match end {
            End::Changed(day) => (day, Some(day)),
            End::Not(day) => (day, None),
        };
        // Of the season are those whose life ended in it, or that were changed in it.
        let of_season = |day: NaiveDate| (first..=last).contains(&day);
        if !(of_season(due) || changed.is_some_and(of_season)) {
            continue;
        }
        let nights = trap.nights(due, until);
        match (nights, changed) {
            // It went with its trap while it was good.
            (0, None) => {}
            (0, Some(_)) => {
                record.due += 1;
                record.in_time += 1;
            }
            _ => {
                record.due += 1;
                record.late.push(LateChange {
                    due,
                    trap: trap.id.clone(),
                    changed,
                    nights,
                });
            }
        }
    }
}
