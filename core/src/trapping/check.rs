//! Check dates of an egg-trap group: one reading a trap, over at most two days.

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::id::TrapId;
use crate::orchard::Trap;

use super::span::spans;
use super::{Counted, Visits};

/// One egg count of one trap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The trap.
    pub trap: TrapId,
    /// The day of the visit that cleared the trap before, or of hanging.
    pub since: NaiveDate,
    /// The day.
    pub date: NaiveDate,
    /// Eggs laid since the visit before.
    pub eggs: u32,
    /// Nights since the visit before, or since hanging.
    pub nights: u32,
    /// Whether it is the trap's first reading after hanging: a baseline that shows no rise.
    pub baseline: bool,
}

/// The readings of one check date.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Its day, the first where it spans two.
    pub date: NaiveDate,
    /// Egg traps hanging then.
    pub hung: usize,
    /// Their readable counts, by trap.
    pub readings: Vec<Reading>,
}

/// Check dates are so many days apart at least and at most when they follow each other.
pub(super) const CONSECUTIVE_DAYS: std::ops::RangeInclusive<i64> = 2..=8;

impl Check {
    /// The readings that can be judged: all but the baselines.
    pub fn judged(&self) -> impl Iterator<Item = &Reading> {
        self.readings.iter().filter(|reading| !reading.baseline)
    }

    /// Whether it counts: at least three readable traps, and 75 % of those hung.
    #[must_use]
    pub fn counts(&self) -> bool {
        let read = self.judged().count();
        read >= 3 && read * 4 >= self.hung * 3
    }

    /// Egg traps with at least one egg.
    #[must_use]
    pub fn with_eggs(&self) -> usize {
        self.judged().filter(|reading| reading.eggs > 0).count()
    }
}

/// Lays this year's readable counts of a group's egg traps up to `as_of` on check dates, oldest
/// first. A trap that hung over the winter has its baseline at its first reading of the year.
#[must_use]
pub fn checks(egg_traps: &[&Trap], visits: &Visits, as_of: NaiveDate) -> Vec<Check> {
    let mut by_id = egg_traps.to_vec();
    by_id.sort_by_key(|trap| &trap.id);
    let mut readings: Vec<Reading> = by_id
        .iter()
        .flat_map(|trap| readings_of(trap, visits, as_of))
        .collect();
    // The readings of a day stay by trap.
    readings.sort_by_key(|reading| reading.date);
    let mut checks: Vec<Check> = Vec::new();
    for of_day in readings.chunk_by(|a, b| a.date == b.date) {
        match checks.last_mut() {
            Some(check) if continues(check, of_day) => check.readings.extend_from_slice(of_day),
            _ => checks.push(Check {
                date: of_day[0].date,
                hung: egg_traps
                    .iter()
                    .filter(|trap| trap.hangs_on(of_day[0].date))
                    .count(),
                readings: of_day.to_vec(),
            }),
        }
    }
    checks
}

/// Whether a day's readings belong to the check that began the day before: only when no trap is
/// read on both days.
fn continues(check: &Check, of_day: &[Reading]) -> bool {
    let day_after = check.date.checked_add_days(Days::new(1));
    let read_before = |reading: &Reading| check.readings.iter().any(|r| r.trap == reading.trap);
    day_after == Some(of_day[0].date) && !of_day.iter().any(read_before)
}

/// A trap's readable counts of the year.
fn readings_of(trap: &Trap, visits: &Visits, as_of: NaiveDate) -> Vec<Reading> {
    let of_year = spans(trap, visits, as_of).filter(|span| span.ends_in_year_of(as_of));
    let counted = of_year.filter_map(|span| Some((span, span.count(Counted::Eggs)?)));
    counted
        .enumerate()
        .map(|(place, (span, eggs))| Reading {
            trap: trap.id.clone(),
            since: span.from,
            date: span.visit.date,
            eggs,
            nights: span.nights,
            baseline: place == 0,
        })
        .collect()
}
