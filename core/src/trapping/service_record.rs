//! The record of a season's trap work: readings made of readings due, parts changed in time. What is due when is
//! said by the same rules as every morning ([`EggRoutine`], [`closed_until`], service lives), walked day by day.

mod parts;
mod readings;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, Weekday};

use crate::orchard::{Orchard, Part, Trap, TrapKind};

use super::{EggRoutine, Note, Visits, closed_until, first_split};
use readings::{Routine, Walked, walk};

pub use parts::LateChange;

/// A reading so many days after it was due is in time. Common practice, no source: two readings a week on fixed
/// days of the week are three and four days apart in turn, and the shorter is the one that is due.
pub const IN_TIME_DAYS: u64 = 1;

/// What was done at a block's traps of what was due.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServiceRecord {
    /// The first and the last day looked at.
    pub within: [NaiveDate; 2],
    /// Readings.
    pub readings: ReadingRecord,
    /// Parts, those that came due or were changed.
    pub parts: Vec<PartRecord>,
}

/// Readings made of readings due, trap by trap.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ReadingRecord {
    /// Readings that were due: those in time, late and missed.
    pub due: u32,
    /// Of those, made by the day after.
    pub in_time: u32,
    /// Made later, by kind, due day and day of the reading, oldest first.
    pub late: Vec<LateRound>,
    /// Not made before the next one was due, oldest first.
    pub missed: Vec<MissedRound>,
    /// Made where none was due: soon after another, or after hull split, when egg traps may be left out.
    pub beside: u32,
    /// Of all that were made, those of traps that could not be read.
    pub unreadable: u32,
    /// Due on the last day or the day before, and not made yet; not among those due.
    pub open: u32,
    /// Mondays of the weeks in which readings fell due and none was made in the block.
    pub empty_weeks: Vec<NaiveDate>,
}

/// Traps of a kind that were read late together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LateRound {
    /// The day they were due.
    pub due: NaiveDate,
    /// The day they were read.
    pub made: NaiveDate,
    /// Days late, those in which the block was closed left out.
    pub days: u64,
    /// Their kind.
    pub kind: TrapKind,
    /// How many.
    pub traps: u32,
}

/// Traps of a kind that were not read together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissedRound {
    /// The day they were due.
    pub due: NaiveDate,
    /// Their kind.
    pub kind: TrapKind,
    /// How many.
    pub traps: u32,
}

/// Changes of one part of a block's traps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartRecord {
    /// The part.
    pub part: Part,
    /// Changes that were due: those in time and late ones.
    pub due: u32,
    /// Of those, made by the last day of the service life.
    pub in_time: u32,
    /// Served past their life, oldest first.
    pub late: Vec<LateChange>,
}

impl ReadingRecord {
    /// Readings made late.
    #[must_use]
    pub fn late_count(&self) -> u32 {
        self.late.iter().map(|round| round.traps).sum()
    }

    /// Readings not made.
    #[must_use]
    pub fn missed_count(&self) -> u32 {
        self.missed.iter().map(|round| round.traps).sum()
    }

    /// All readings that were made, also where none was due.
    #[must_use]
    pub fn made(&self) -> u32 {
        self.in_time + self.late_count() + self.beside
    }
}

/// What the walk asks of a block.
#[derive(Debug, Clone, Copy)]
pub struct Served<'a> {
    /// What is declared.
    pub orchard: &'a Orchard,
    /// Readings of its traps.
    pub visits: &'a Visits,
    /// The block's own notes.
    pub notes: &'a [Note],
    /// The first day on which its start was no longer awaited; `None` where it always was.
    pub start_settled: Option<NaiveDate>,
    /// The first and the last day to look at.
    pub within: [NaiveDate; 2],
}

impl Served<'_> {
    /// The record of some traps of the block.
    #[must_use]
    pub fn record(&self, traps: &[&Trap]) -> ServiceRecord {
        ServiceRecord {
            within: self.within,
            readings: self.readings(traps),
            parts: parts::parts(self, traps),
        }
    }

    fn readings(&self, traps: &[&Trap]) -> ReadingRecord {
        let [egg_traps, others] = [true, false].map(|eggs| self.routine(eggs));
        let walked = traps.iter().map(|trap| {
            let routine = match trap.kind {
                TrapKind::Egg => &egg_traps,
                _ => &others,
            };
            (*trap, walk(trap, self.visits, routine, self.within))
        });
        let walked: Vec<(&Trap, Walked)> = walked.collect();
        let mut record = ReadingRecord::default();
        let mut late: BTreeMap<(NaiveDate, NaiveDate, u64, TrapKind), u32> = BTreeMap::new();
        let mut missed: BTreeMap<(NaiveDate, TrapKind), u32> = BTreeMap::new();
        for (trap, walked) in &walked {
            record.beside += walked.beside;
            record.unreadable += walked.unreadable;
            record.open += u32::from(walked.open);
            for reading in &walked.due {
                record.due += 1;
                match reading.made {
                    Some(_) if reading.days_late <= IN_TIME_DAYS => record.in_time += 1,
                    Some(made) => {
                        let round = (reading.due, made, reading.days_late, trap.kind);
                        *late.entry(round).or_default() += 1;
                    }
                    None => *missed.entry((reading.due, trap.kind)).or_default() += 1,
                }
            }
        }
        let late = late
            .into_iter()
            .map(|((due, made, days, kind), traps)| LateRound {
                due,
                made,
                days,
                kind,
                traps,
            });
        let missed =
            missed
                .into_iter()
                .map(|((due, kind), traps)| MissedRound { due, kind, traps });
        ReadingRecord {
            late: late.collect(),
            missed: missed.collect(),
            empty_weeks: empty_weeks(&walked),
            ..record
        }
    }

    /// How traps were to be read on each day: days from one reading to the next, or why none was due.
    fn routine(&self, egg_traps: bool) -> Routine {
        let [first, last] = self.within;
        let days = first.iter_days().take_while(|day| *day <= last);
        let on = |day: NaiveDate| {
            let routine = match egg_traps {
                true => {
                    // The morning knows nothing yet of what the day brings.
                    let awaited = self.start_settled.is_none_or(|settled| day <= settled);
                    let split = day.pred_opt().and_then(|day| first_split(self.notes, day));
                    EggRoutine::of(awaited, split)
                }
                false => EggRoutine::Weekly,
            };
            readings::OnDay {
                every_days: (routine != EggRoutine::Optional).then(|| routine.every_days()),
                closed: closed_until(self.notes, day).is_some(),
            }
        };
        Routine::new(first, days.map(on).collect())
    }
}

/// The Mondays of weeks in which readings fell due and no trap was read.
fn empty_weeks(walked: &[(&Trap, Walked)]) -> Vec<NaiveDate> {
    let monday = |day: &NaiveDate| day.week(Weekday::Mon).first_day();
    let all = || walked.iter().map(|(_, walked)| walked);
    let due: BTreeSet<NaiveDate> = all()
        .flat_map(|walked| &walked.due)
        .map(|reading| monday(&reading.due))
        .collect();
    let read: BTreeSet<NaiveDate> = all().flat_map(|walked| &walked.read).map(monday).collect();
    due.difference(&read).copied().collect()
}

/// The days of a year's season on which trap work counts: from its first day, a month and a day, to its last or to
/// `as_of`.
#[must_use]
pub fn days_of_season(
    year: i32,
    [first, last]: [(u32, u32); 2],
    as_of: NaiveDate,
) -> [NaiveDate; 2] {
    // 29 February falls to the 28th.
    let day = |(month, day): (u32, u32)| {
        NaiveDate::from_ymd_opt(year, month, day)
            .or_else(|| NaiveDate::from_ymd_opt(year, month, 28))
    };
    let [first, last] = [first, last].map(|day_of| day(day_of).unwrap_or(as_of));
    [first, last.min(as_of)]
}

#[cfg(test)]
mod tests;
