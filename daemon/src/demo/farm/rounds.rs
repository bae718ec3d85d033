//! Who walks which block when: the days on which its traps are read.

use std::collections::BTreeSet;

use chrono::{Datelike, Days, NaiveDate};
use rand::RngExt;

use super::days::{MonthDay, day_of};
use super::nature::{FIRST_CALENDAR, Population, Warmth, dice};
use super::places::{Block, LATE_SHEET_BLOCK, Laying};
use super::round_days::{hanging_day, round_days};

/// Egg traps are read twice a week until so long after egg laying began.
const TWICE_WEEKLY_DAYS_AFTER_START: u64 = 26;
/// Where no start comes, twice a week is given up on this day.
const GIVEN_UP_ON: MonthDay = (6, 10);
/// Once summer work begins, a week is missed now and then.
const SUMMER_FROM: MonthDay = (7, 1);

fn twice_weekly_until(
    block: &Block,
    population: &Population,
    warmth: &Warmth,
    year: i32,
) -> NaiveDate {
    if block.laying == Laying::Scarce {
        return day_of(year, GIVEN_UP_ON);
    }
    let start = warmth.day_after(population.first_laying());
    start + Days::new(TWICE_WEEKLY_DAYS_AFTER_START)
}

/// The reading days of one block.
pub(super) struct Calendar {
    pub(super) hanging: NaiveDate,
    egg_checks: Vec<NaiveDate>,
    weekly: Vec<NaiveDate>,
    spilled: BTreeSet<NaiveDate>,
}

impl Calendar {
    /// Reading days from the day after hanging to the end of September.
    pub(super) fn of(block: &Block, population: &Population, warmth: &Warmth, year: i32) -> Self {
        let mut rng = dice(year, FIRST_CALENDAR + block.index());
        let twice_weekly_until = twice_weekly_until(block, population, warmth, year);
        let (first, _) = block.round.weekdays();
        let mut days = Self {
            hanging: hanging_day(block, year),
            egg_checks: Vec::new(),
            weekly: Vec::new(),
            spilled: BTreeSet::new(),
        };
        for date in round_days(block.round, year).skip(1) {
            let missed = rng.random_bool(0.03) && date >= day_of(year, SUMMER_FROM);
            let spilled = rng.random_bool(0.08) && block.id != LATE_SHEET_BLOCK;
            let weekly = date.weekday() == first;
            if weekly && !missed {
                days.weekly.push(date);
            }
            if (weekly || date <= twice_weekly_until) && !missed {
                days.egg_checks.push(date);
            }
            if spilled {
                days.spilled.insert(date);
            }
        }
        days
    }

    /// The days on which a weekly trap hung on `hung` is read.
    pub(super) fn weekly_after(&self, hung: NaiveDate) -> Vec<NaiveDate> {
        self.weekly
            .iter()
            .copied()
            .filter(|&date| date > hung)
            .collect()
    }

    /// The days on which an egg trap is read. Some rounds are not finished in a day: the traps
    /// `at_the_end` of it are then read on the next.
    pub(super) fn egg_checks(&self, at_the_end: bool) -> Vec<NaiveDate> {
        let last = self.egg_checks.last();
        let read_on = |date: &NaiveDate| {
            let waits = at_the_end && self.spilled.contains(date) && Some(date) != last;
            *date + Days::new(u64::from(waits))
        };
        self.egg_checks.iter().map(read_on).collect()
    }

    /// The day for hanging what is hung two weeks after the first traps.
    pub(super) fn second_hanging(&self) -> NaiveDate {
        let two_weeks_on = self.hanging + Days::new(12);
        self.weekly
            .iter()
            .copied()
            .find(|&date| date >= two_weeks_on)
            .unwrap_or(two_weeks_on)
    }
}
