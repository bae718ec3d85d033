//! A season to look back on, for one grower: what began when and how that is known, what the traps caught, and what
//! was done at them. Plain data without markup.

mod block;
mod catches;
mod harvest;
mod marks;
mod service;

pub use block::{BlockOfSeason, BlockReport, StartRow};
pub use catches::{CatchTable, CatchYears};
pub use harvest::{SampleRow, Samples};
pub use marks::MarkRow;
pub use service::{ServiceRow, ServiceTable};

use crate::insect::Insect;
use crate::ledger::MailKind;
use crate::trapping::{IN_TIME_DAYS, ServiceRecord};
use crate::wording::caution;
use crate::wording::{Words, plural};

use service::of_due;

/// A grower's season.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonReport {
    /// The farm or the adviser's practice.
    pub farm: String,
    /// A remark that the farm has on everything.
    pub note: Option<String>,
    /// The grower's name.
    pub grower: String,
    /// The year.
    pub year: i32,
    /// The day it is told of, in words.
    pub as_of: String,
    /// Who advised on these blocks.
    pub advisers: Vec<Signature>,
    /// A row for each block.
    pub overview: Vec<OverviewRow>,
    /// Readings and parts of all blocks.
    pub service: ServiceTable,
    /// How that is counted.
    pub counted: Vec<String>,
    /// What was sent to the grower.
    pub mails: String,
    /// The blocks.
    pub blocks: Vec<BlockReport>,
    /// What the dates rest on.
    pub sources: Vec<String>,
    /// The caution.
    pub caution: String,
}

/// An adviser, as a report names them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signature {
    /// Their name.
    pub name: String,
    /// Their licence as they write it, where it is declared.
    pub licence: Option<String>,
    /// Their telephone number, where it is declared.
    pub phone: Option<String>,
}

/// One block in a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OverviewRow {
    /// Its name.
    pub block: String,
    /// Its egg-laying start.
    pub start: String,
    /// The first generation after it, as computed.
    pub laying: String,
    /// First hull split of sound nuts in the block.
    pub split: String,
    /// Readings in time of those due.
    pub readings: String,
    /// Parts changed in time of those due.
    pub parts: String,
}

/// Mails to a grower that were sent, and those that nobody took.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct MailsSent {
    /// Sent, by kind.
    pub sent: Vec<(MailKind, u32)>,
    /// Given up.
    pub given_up: u32,
}

/// What a report is made from.
pub struct SeasonSource<'a> {
    /// The farm or the adviser's practice.
    pub farm: String,
    /// A remark that the farm has on everything.
    pub note: Option<String>,
    /// Whom to ask about permits and local rules.
    pub authority: &'a str,
    /// The grower's name.
    pub grower: String,
    /// Who advised on these blocks.
    pub advisers: Vec<Signature>,
    /// The blocks in the order of the farm.
    pub blocks: Vec<BlockOfSeason<'a>>,
    /// The insect models of these blocks.
    pub insects: Vec<&'a Insect>,
    /// Each station with its name and the feed that its days come from.
    pub stations: Vec<String>,
    /// What was sent to the grower.
    pub mails: MailsSent,
}

/// A grower's season, from at least one block.
#[must_use]
pub fn season_report(words: Words, source: &SeasonSource<'_>) -> Option<SeasonReport> {
    let first = source.blocks.first()?.season;
    let records = source.blocks.iter().map(|block| &block.service);
    let all: Vec<&ServiceRecord> = records.collect();
    Some(SeasonReport {
        farm: source.farm.clone(),
        note: source.note.clone(),
        grower: source.grower.clone(),
        year: first.year,
        as_of: words.long_day(first.as_of),
        advisers: source.advisers.clone(),
        overview: source
            .blocks
            .iter()
            .map(|block| overview(words, block))
            .collect(),
        service: ServiceTable::of(words, &all),
        counted: counted(words, &all),
        mails: mails(&source.mails),
        blocks: source
            .blocks
            .iter()
            .map(|block| BlockReport::of(words, block))
            .collect(),
        sources: sources(source),
        caution: caution(source.authority),
    })
}

fn overview(words: Words, block: &BlockOfSeason<'_>) -> OverviewRow {
    let season = block.season;
    let laying = season.marks.iter().find(|reading| reading.begins_laying);
    let split = season.split_seen.as_ref();
    let parts = block.service.parts.iter();
    let (in_time, due) = parts.fold((0, 0), |(in_time, due), part| {
        (in_time + part.in_time, due + part.due)
    });
    let readings = &block.service.readings;
    OverviewRow {
        block: season.block.name.clone(),
        start: words.start_briefly(season),
        laying: laying
            .filter(|reading| reading.outcome.days().is_some())
            .map_or_else(String::new, |reading| words.computed(&reading.outcome)),
        split: split.map_or_else(String::new, |split| words.day(split.day)),
        readings: of_due(readings.in_time, readings.due),
        parts: of_due(in_time, due),
    }
}

/// How the record of the service is counted.
fn counted(words: Words, records: &[&ServiceRecord]) -> Vec<String> {
    let Some([first, last]) = records.first().map(|record| record.within) else {
        return Vec::new();
    };
    vec![
        format!(
            "Counted from {} to {}, trap by trap. A reading is due a week after the one before; of egg traps twice a \
             week while the egg-laying start is awaited, and not at all once sound nuts have split. What falls due \
             while a block is posted as closed waits until it is open.",
            words.day(first),
            words.day(last)
        ),
        format!(
            "In time is on the day or {} after (common practice, no source). A reading that was still missing when the \
             next one fell due was not made.",
            plural(IN_TIME_DAYS, "day")
        ),
        "A lure, PPO dispenser, bait or liner is changed in time by the last day of the service life that is declared \
         for it."
            .to_owned(),
    ]
}

/// What was sent in one sentence.
fn mails(mails: &MailsSent) -> String {
    let sent = mails.sent.iter().filter_map(|(kind, count)| {
        let what = match kind {
            MailKind::Alert => "key-date alert",
            MailKind::Letter => "weekly letter",
            MailKind::Summary => "summary",
            _ => return None,
        };
        Some(match (what, count) {
            ("summary", 2..) => format!("{count} summaries"),
            _ => plural(*count, what),
        })
    });
    let sent: Vec<String> = sent.collect();
    let sent = match sent.is_empty() {
        true => "none".to_owned(),
        false => Words::listed(&sent),
    };
    match mails.given_up {
        0 => sent,
        count => format!("{sent}; {} could not be delivered", plural(count, "mail")),
    }
}

/// Where temperatures and numbers come from, each said once.
fn sources(source: &SeasonSource<'_>) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut add = |line: String| {
        if !lines.contains(&line) {
            lines.push(line);
        }
    };
    source.stations.iter().cloned().for_each(&mut add);
    for insect in &source.insects {
        add(format!("{}, heat: {}", insect.name, insect.heat_source));
        if let Some(start) = &insect.start {
            add(format!("egg-laying start: {}", start.source));
        }
        let told = insect.marks.iter().filter(|mark| mark.told);
        told.for_each(|mark| add(format!("{}: {}", mark.name, mark.source)));
    }
    lines
}

#[cfg(test)]
mod tests;
