//! The record of trap work as a table, and what was late in lines.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::orchard::Part;
use crate::trapping::{LateChange, PartRecord, ReadingRecord, ServiceRecord};
use crate::wording::{Words, plural};

/// What was done of what was due.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServiceTable {
    /// Readings, then each part.
    pub rows: Vec<ServiceRow>,
    /// What was late or not done, and what is to be known beside the numbers.
    pub lines: Vec<String>,
}

/// One kind of work, in numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServiceRow {
    /// What was to be done.
    pub work: String,
    /// How often it was due.
    pub due: u32,
    /// Of that, in time.
    pub in_time: u32,
    /// Late.
    pub late: u32,
    /// Not at all.
    pub not_done: u32,
}

impl ServiceTable {
    /// Of one block, with its late rounds.
    pub(super) fn of_block(words: Words, record: &ServiceRecord) -> Self {
        let mut table = Self::of(words, &[record]);
        table.lines.extend(late_rounds(words, &record.readings));
        let parts = record.parts.iter();
        table
            .lines
            .extend(parts.filter_map(|part| late_parts(words, part)));
        table
    }

    /// Of several blocks together.
    pub(super) fn of(words: Words, records: &[&ServiceRecord]) -> Self {
        let mut rows: Vec<ServiceRow> = records
            .iter()
            .map(|record| readings(&record.readings))
            .reduce(added)
            .into_iter()
            .filter(|row| row.due > 0)
            .collect();
        for part in Part::ALL {
            let of_part = records.iter().flat_map(|record| &record.parts);
            let of_part = of_part.filter(|record| record.part == part);
            rows.extend(of_part.map(of_parts).reduce(added));
        }
        Self {
            rows,
            lines: beside(words, records),
        }
    }
}

fn readings(record: &ReadingRecord) -> ServiceRow {
    ServiceRow {
        work: "traps read".to_owned(),
        due: record.due,
        in_time: record.in_time,
        late: record.late_count(),
        not_done: record.missed_count(),
    }
}

fn of_parts(record: &PartRecord) -> ServiceRow {
    let not_done = record.late.iter().filter(|late| late.changed.is_none());
    let not_done = u32::try_from(not_done.count()).unwrap_or(u32::MAX);
    ServiceRow {
        work: changed(record.part).to_owned(),
        due: record.due,
        in_time: record.in_time,
        late: record.due - record.in_time - not_done,
        not_done,
    }
}

#[expect(
    clippy::needless_pass_by_value,
    reason = "rows are reduced to their sum, by value"
)]
fn added(a: ServiceRow, b: ServiceRow) -> ServiceRow {
    ServiceRow {
        work: a.work,
        due: a.due + b.due,
        in_time: a.in_time + b.in_time,
        late: a.late + b.late,
        not_done: a.not_done + b.not_done,
    }
}

const fn changed(part: Part) -> &'static str {
    match part {
        Part::Lure => "lures changed",
        Part::Ppo => "PPO dispensers changed",
        Part::Bait => "baits changed",
        Part::Liner => "liners changed",
    }
}

/// What stands beside the numbers of readings.
fn beside(words: Words, records: &[&ServiceRecord]) -> Vec<String> {
    let sum = |of: fn(&ReadingRecord) -> u32| -> u32 {
        records.iter().map(|record| of(&record.readings)).sum()
    };
    let mut lines = Vec::new();
    let made = sum(ReadingRecord::made);
    let beside = sum(|readings| readings.beside);
    if made > 0 {
        let beside = match beside {
            0 => String::new(),
            some => format!(", {some} of them more than fell due"),
        };
        lines.push(format!("{} in all{beside}", plural(made, "reading")));
    }
    let unreadable = sum(|readings| readings.unreadable);
    if unreadable > 0 {
        lines.push(format!(
            "{} at which the trap could not be read",
            plural(unreadable, "visit")
        ));
    }
    // Of several blocks each has its own.
    if let [record] = records {
        let weeks = record.readings.empty_weeks.iter();
        let weeks: Vec<String> = weeks.map(|monday| words.day(*monday)).collect();
        if !weeks.is_empty() {
            lines.push(format!(
                "weeks in which readings fell due and none was made, by their Mondays: {}",
                weeks.join(", ")
            ));
        }
    }
    lines
}

fn late_rounds(words: Words, record: &ReadingRecord) -> Vec<String> {
    let late = record.late.iter().map(|round| {
        let traps = plural(round.traps, &format!("{} trap", round.kind.name()));
        format!(
            "{traps} due {}, read {}, {} late",
            words.day(round.due),
            words.day(round.made),
            plural(round.days, "day")
        )
    });
    let missed = record.missed.iter().map(|round| {
        let traps = plural(round.traps, &format!("{} trap", round.kind.name()));
        format!("{traps} due {}", words.day(round.due))
    });
    [
        ("read late", late.collect::<Vec<_>>()),
        ("not read", missed.collect()),
    ]
    .into_iter()
    .filter(|(_, rounds)| !rounds.is_empty())
    .map(|(what, rounds)| format!("{what}: {}", rounds.join("; ")))
    .collect()
}

/// The late changes of a part, those of the same days together.
fn late_parts(words: Words, record: &PartRecord) -> Option<String> {
    let mut together: BTreeMap<(NaiveDate, Option<NaiveDate>), Vec<&LateChange>> = BTreeMap::new();
    for late in &record.late {
        together
            .entry((late.due, late.changed))
            .or_default()
            .push(late);
    }
    let phrases = together.iter().map(|((due, changed), late)| {
        let traps: Vec<&str> = late.iter().map(|late| late.trap.as_str()).collect();
        let nights = late.iter().map(|late| late.nights).max().unwrap_or(0);
        let nights = plural(nights, "night");
        let end = match changed {
            Some(day) => format!("changed {}, {nights} past its life", words.day(*day)),
            None => format!("not changed, {nights} past its life"),
        };
        format!("{} to {}, {end}", traps.join(", "), words.day(*due))
    });
    let phrases: Vec<String> = phrases.collect();
    let what = match record.part {
        Part::Lure => "lures",
        Part::Ppo => "PPO dispensers",
        Part::Bait => "baits",
        Part::Liner => "liners",
    };
    (!phrases.is_empty()).then(|| format!("{what} past their life: {}", phrases.join("; ")))
}

/// So many in time of those due.
pub(super) fn of_due(in_time: u32, due: u32) -> String {
    match due {
        0 => "none due".to_owned(),
        _ => format!("{in_time} of {due}"),
    }
}
