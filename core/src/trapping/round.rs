//! Rounds of moth traps: readings of about a week, as one catch per trap and night.

use chrono::{Days, NaiveDate};

use crate::id::TrapId;
use crate::orchard::{Orchard, Part, Trap};

use super::span::spans;
use super::{Counted, Lapse, Visits, on_liner};

/// A round is open for a trap not read in it yet for so many days after its first.
const LAST_DAY: u64 = 6;
/// And so many for a trap that was read already, so that weekly readings stay apart and two a week
/// come together.
const LAST_DAY_AGAIN: u64 = 4;
/// For so many days after an overdue lure was changed the catch may have jumped for that alone.
const FRESH_DAYS: u64 = 7;

/// One readable count of one moth trap.
#[derive(Debug, Clone, PartialEq, Eq)]
struct MothReading {
    trap: TrapId,
    after: NaiveDate,
    date: NaiveDate,
    count: u32,
    nights: u32,
    /// Whether what lures or holds the moths was past its life for most of these nights.
    past_life: bool,
    /// Whether an overdue lure was changed in the week before.
    after_overdue_change: bool,
    undercounts: bool,
}

/// The readings of one round of a block's moth traps. The counts leave out traps that were past a
/// service life, as long as others were not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Round {
    /// The day of the reading before, of the trap in the middle: the catch came after it.
    pub after: NaiveDate,
    /// The day of the last reading.
    pub by: NaiveDate,
    /// Moths caught.
    pub count: u32,
    /// Nights behind the counts, over all traps.
    pub trap_nights: u32,
    /// Traps with a readable count, left out or not.
    pub traps_read: usize,
    /// Traps that hung.
    pub traps_hung: usize,
    /// Traps past a service life. Their zeros say nothing.
    pub past_life: Vec<TrapId>,
    /// Whether more than half of the traps read were past a service life.
    pub mostly_past_life: bool,
    /// Traps with an overdue lure changed in the week before.
    pub after_overdue_change: Vec<TrapId>,
    /// Traps whose liner was so full that the count is likely too low.
    pub undercounts: Vec<TrapId>,
}

impl Round {
    /// Catch per trap and night; without a night it is 0.
    #[must_use]
    pub fn per_trap_night(&self) -> f64 {
        f64::from(self.count) / f64::from(self.trap_nights.max(1))
    }

    /// Whether there is a count to go by: some nights, and at least half of the traps read. The half
    /// is common practice, no source.
    #[must_use]
    pub fn counts(&self) -> bool {
        self.trap_nights > 0 && self.traps_read * 2 >= self.traps_hung
    }

    /// Whether half of the traps read or more may have jumped with a fresh lure.
    #[must_use]
    pub fn may_have_jumped(&self) -> bool {
        !self.after_overdue_change.is_empty()
            && self.after_overdue_change.len() * 2 >= self.traps_read
    }

    /// The day in the middle of its nights.
    #[must_use]
    pub fn middle(&self) -> NaiveDate {
        let nights = u64::try_from((self.by - self.after).num_days()).unwrap_or(0);
        let middle = self.after.checked_add_days(Days::new(nights.div_ceil(2)));
        middle.unwrap_or(self.by)
    }
}

/// This year's rounds of the given traps up to `as_of`, oldest first.
#[must_use]
pub fn rounds(
    orchard: &Orchard,
    traps: &[&Trap],
    counted: Counted,
    visits: &Visits,
    lapses: &[Lapse],
    as_of: NaiveDate,
) -> Vec<Round> {
    let mut readings: Vec<MothReading> = traps
        .iter()
        .flat_map(|trap| readings_of(orchard, trap, counted, visits, lapses, as_of))
        .collect();
    readings.sort_by(|a, b| (a.date, &a.trap).cmp(&(b.date, &b.trap)));
    let mut grouped: Vec<Vec<MothReading>> = Vec::new();
    for reading in readings {
        match grouped.last_mut() {
            Some(group) if joins(group, &reading) => group.push(reading),
            _ => grouped.push(vec![reading]),
        }
    }
    let hung = |day| traps.iter().filter(|trap| trap.hangs_on(day)).count();
    let round = |group: &Vec<MothReading>| round_of(group, hung);
    grouped.iter().map(round).collect()
}

fn joins(group: &[MothReading], reading: &MothReading) -> bool {
    let first = group[0].date;
    let again = group.iter().any(|other| other.trap == reading.trap);
    let open_for = if again { LAST_DAY_AGAIN } else { LAST_DAY };
    first
        .checked_add_days(Days::new(open_for))
        .is_some_and(|last| reading.date <= last)
}

/// Readings past a service life are used only where they are most, and then without zeros.
fn round_of(group: &[MothReading], hung: impl Fn(NaiveDate) -> usize) -> Round {
    let past_life = group.iter().filter(|reading| reading.past_life).count();
    let mostly_past_life = past_life * 2 > group.len();
    let used =
        |reading: &&MothReading| !reading.past_life || (mostly_past_life && reading.count > 0);
    let traps = |pick: fn(&MothReading) -> bool| {
        let picked = group.iter().filter(|reading| pick(reading));
        let mut traps: Vec<TrapId> = picked.map(|reading| reading.trap.clone()).collect();
        traps.sort();
        traps.dedup();
        traps
    };
    let by = group.iter().map(|reading| reading.date).max();
    let by = by.unwrap_or(NaiveDate::MIN);
    let mut after: Vec<NaiveDate> = group.iter().map(|reading| reading.after).collect();
    after.sort();
    Round {
        after: after.get(after.len() / 2).copied().unwrap_or(by),
        by,
        count: group.iter().filter(used).map(|reading| reading.count).sum(),
        trap_nights: group
            .iter()
            .filter(used)
            .map(|reading| reading.nights)
            .sum(),
        traps_read: traps(|_| true).len(),
        traps_hung: hung(by).max(traps(|_| true).len()),
        past_life: traps(|reading| reading.past_life),
        mostly_past_life,
        after_overdue_change: traps(|reading| reading.after_overdue_change),
        undercounts: traps(|reading| reading.undercounts),
    }
}

/// One trap's readable counts of the year.
fn readings_of(
    orchard: &Orchard,
    trap: &Trap,
    counted: Counted,
    visits: &Visits,
    lapses: &[Lapse],
    as_of: NaiveDate,
) -> Vec<MothReading> {
    let of_trap: Vec<&Lapse> = lapses.iter().filter(|l| l.trap == trap.id).collect();
    let liners = on_liner(orchard, trap, visits, as_of);
    let each = spans(trap, visits, as_of).zip(liners);
    each.filter(|(span, _)| span.ends_in_year_of(as_of))
        .filter_map(|(span, liner)| {
            let (after, date) = (span.from, span.visit.date);
            Some(MothReading {
                trap: trap.id.clone(),
                after,
                date,
                count: span.count(counted)?,
                nights: span.nights,
                past_life: of_trap.iter().any(|l| covers(l, after, date)),
                after_overdue_change: of_trap.iter().any(|l| freshens(l, date)),
                undercounts: liner.undercounts(),
            })
        })
        .collect()
}

/// Whether a part was past its life for more than half of the nights between two days.
fn covers(lapse: &Lapse, after: NaiveDate, by: NaiveDate) -> bool {
    let until = lapse.ended.map_or(by, |ended| ended.min(by));
    let past = (until - lapse.due.max(after)).num_days();
    past * 2 > (by - after).num_days()
}

/// Whether an overdue lure, PPO or bait was changed in the week before a day.
fn freshens(lapse: &Lapse, day: NaiveDate) -> bool {
    let changed = lapse.ended.filter(|_| lapse.part != Part::Liner);
    changed.is_some_and(|changed| {
        let last = changed.checked_add_days(Days::new(FRESH_DAYS));
        changed < day && last.is_some_and(|last| day <= last)
    })
}

#[cfg(test)]
mod tests;
