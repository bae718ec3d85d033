//! The contents of an adviser's morning digest, without markup.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use crate::id::{BlockId, StationId, TrapId};
use crate::orchard::{Part, TrapKind};
use crate::season::{BlockSeason, MarkReading, Outcome};
use crate::trapping::ServiceDue;

use super::decide::{Change, Notice};
use super::event::Event;
use super::gather::{gathered, trap_list};
use super::words::{Words, degree_days, mark_title};

/// How far "the next days" look.
const NEXT_DAYS: u64 = 7;
/// How far marks are listed ahead of the first day of their range.
const MARKS_AHEAD_DAYS: u64 = 21;
/// A station's newest day is this old at most before it is trouble: public archives lag two to
/// three days.
const FRESH_DAYS: i64 = 4;

/// A block and lines about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockLines {
    /// The block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// Lines, most urgent first.
    pub lines: Vec<String>,
}

/// One block in the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableRow {
    /// The block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// Its regime.
    pub regime: String,
    /// Its egg-laying start.
    pub start: String,
    /// Degree-days since the start, or a dash.
    pub degree_days: String,
    /// The next mark and its range.
    pub next_mark: String,
    /// Catches of the last seven days.
    pub catches: Vec<String>,
}

/// What the digest says about one station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationView {
    /// The station.
    pub station: StationId,
    /// Its name.
    pub name: String,
    /// The newest complete day.
    pub newest: Option<NaiveDate>,
    /// Days received but not used lately, with the reason.
    pub suspects: Vec<(NaiveDate, &'static str)>,
}

/// A morning digest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Digest {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// The one most important line.
    pub headline: String,
    /// How much more news there is beside the headline.
    pub more: usize,
    /// Trap work that is due.
    pub work: Vec<BlockLines>,
    /// What comes in the next days.
    pub ahead: Vec<BlockLines>,
    /// What is new, corrected or withdrawn since the last telling.
    pub changed: Vec<BlockLines>,
    /// Trouble with data or mail.
    pub trouble: Vec<String>,
    /// All blocks.
    pub table: Vec<TableRow>,
    /// What each block's answers rest on.
    pub evidence: Vec<BlockLines>,
}

/// Puts together one adviser's digest from their blocks' seasons and tonight's notices. `trouble`
/// are lines that only the daemon knows of, such as a failed fetch; `why` gives the cause of a
/// change, where it is known.
#[must_use]
pub fn digest(
    words: Words,
    day: NaiveDate,
    seasons: &[&BlockSeason],
    notices: &[Notice],
    stations: &[StationView],
    trouble: Vec<String>,
    why: impl Fn(&Notice) -> Option<String>,
) -> Digest {
    let changed = changed(words, seasons, notices, &why);
    let work = per_block(seasons, |season| work_today(words, season));
    let (headline, more) = headline(words, seasons, notices, &work);
    let mut all_trouble: Vec<String> = stations
        .iter()
        .flat_map(|station| station_trouble(words, station, day))
        .collect();
    all_trouble.extend(holes(words, seasons));
    all_trouble.extend(trouble);
    Digest {
        day,
        headline,
        more,
        work,
        ahead: per_block(seasons, |season| ahead(words, season)),
        changed,
        trouble: all_trouble,
        table: seasons
            .iter()
            .map(|season| table_row(words, season))
            .collect(),
        evidence: per_block(seasons, |season| evidence(words, season)),
    }
}

fn per_block(
    seasons: &[&BlockSeason],
    lines: impl Fn(&BlockSeason) -> Vec<String>,
) -> Vec<BlockLines> {
    seasons
        .iter()
        .map(|season| BlockLines {
            block: season.block.id.clone(),
            name: season.block.name.clone(),
            lines: lines(season),
        })
        .filter(|block| !block.lines.is_empty())
        .collect()
}

pub(super) fn season_of<'a>(
    seasons: &[&'a BlockSeason],
    notice: &Notice,
) -> Option<&'a BlockSeason> {
    seasons
        .iter()
        .find(|season| season.block.id == notice.block && season.insect == notice.insect)
        .copied()
}

/// The most important notice, else the work of the day, else that there is nothing; and how many
/// more notices there are.
fn headline(
    words: Words,
    seasons: &[&BlockSeason],
    notices: &[Notice],
    work: &[BlockLines],
) -> (String, usize) {
    let mut ranked: Vec<&Notice> = notices.iter().filter(|notice| rank(notice) < 9).collect();
    ranked.sort_by_key(|notice| rank(notice));
    let first = ranked
        .first()
        .and_then(|notice| Some((notice, season_of(seasons, notice)?)));
    match first {
        Some((notice, season)) => {
            let sentence = short(&words.notice(notice, season));
            let line = format!("{}: {sentence}", season.block.name);
            (line, ranked.len() - 1)
        }
        None if work.is_empty() => ("nothing due, nothing new".to_owned(), 0),
        None => {
            let (due, all) = (work.len(), seasons.len());
            (format!("trap work today in {due} of {all} blocks"), 0)
        }
    }
}

/// A sentence short enough for a subject: without the details after its first semicolon.
pub(super) fn short(sentence: &str) -> String {
    let cut = sentence.split(';').next().unwrap_or(sentence);
    cut.to_owned()
}

/// Lower is more important; 9 never leads.
pub(super) fn rank(notice: &Notice) -> u8 {
    match (&notice.change, &notice.event) {
        (Change::History(_), _) | (_, Event::PastServiceLife(..)) => 9,
        (Change::Withdrawn { .. }, _) => 0,
        (Change::Corrected { .. }, _) => 1,
        (Change::New(_), Event::Start) => 2,
        (Change::New(_), Event::MarkPassed(..)) => 3,
        (Change::New(_), Event::MarkNear(..)) => 4,
        (Change::New(_), Event::StartProvisional) => 5,
    }
}

fn changed(
    words: Words,
    seasons: &[&BlockSeason],
    notices: &[Notice],
    why: &impl Fn(&Notice) -> Option<String>,
) -> Vec<BlockLines> {
    per_block(seasons, |season| {
        let mut about: Vec<&Notice> = notices
            .iter()
            .filter(|notice| notice.block == season.block.id && notice.insect == season.insect)
            .collect();
        about.sort_by_key(|notice| rank(notice));
        gathered(&about)
            .into_iter()
            .map(|notices| {
                let sentence = words.together(&notices, season);
                match notices.first().and_then(|first| why(first)) {
                    Some(why) => format!("{sentence}; {why}"),
                    None => sentence,
                }
            })
            .collect()
    })
}

/// Readings due and parts past their service life, by kind.
fn work_today(words: Words, season: &BlockSeason) -> Vec<String> {
    let day = season.as_of;
    let mut readings: BTreeMap<TrapKind, Vec<(&TrapId, NaiveDate)>> = BTreeMap::new();
    for reading in season.readings.iter().filter(|reading| reading.due <= day) {
        let of_kind = readings.entry(reading.kind).or_default();
        of_kind.push((&reading.trap, reading.due));
    }
    let mut lines: Vec<String> = readings
        .into_iter()
        .map(|(kind, traps)| reading_line(words, kind, &traps, day))
        .collect();
    lines.extend(service_lines(
        season,
        |due| due.due <= day,
        |due| service_phrase(words, due, day),
    ));
    lines
}

fn reading_line(
    words: Words,
    kind: TrapKind,
    traps: &[(&TrapId, NaiveDate)],
    day: NaiveDate,
) -> String {
    let ids: Vec<&TrapId> = traps.iter().map(|(trap, _)| *trap).collect();
    let oldest = traps.iter().map(|(_, due)| *due).min().unwrap_or(day);
    let since = if oldest < day {
        format!(", due since {}", words.day(oldest))
    } else {
        String::new()
    };
    let plural = if traps.len() == 1 { "trap" } else { "traps" };
    format!(
        "read {} {} {plural}{since}: {}",
        traps.len(),
        kind.name(),
        trap_list(&ids)
    )
}

fn service_phrase(words: Words, due: &ServiceDue, day: NaiveDate) -> String {
    let (part, life) = (due.part.words(), due.life_days);
    if due.due < day {
        format!("{part}, {life}-day life ended {}", words.day(due.due))
    } else {
        format!("{part}, {life}-day life ends today")
    }
}

/// The service clocks that a condition picks: traps with the same phrase share a line, by part and
/// oldest first.
fn service_lines(
    season: &BlockSeason,
    pick: impl Fn(&ServiceDue) -> bool,
    phrase: impl Fn(&ServiceDue) -> String,
) -> Vec<String> {
    let mut alike: BTreeMap<(Part, NaiveDate, u16), Vec<&ServiceDue>> = BTreeMap::new();
    for due in season.service.iter().filter(|due| pick(due)) {
        let key = (due.part, due.due, due.life_days);
        alike.entry(key).or_default().push(due);
    }
    alike
        .into_values()
        .map(|dues| {
            let traps: Vec<&TrapId> = dues.iter().map(|due| &due.trap).collect();
            format!("{}: {}", phrase(dues[0]), trap_list(&traps))
        })
        .collect()
}

/// Marks whose range begins soon, and parts whose service life ends in the next days.
fn ahead(words: Words, season: &BlockSeason) -> Vec<String> {
    let day = season.as_of;
    let within = |days| day.checked_add_days(Days::new(days)).unwrap_or(day);
    let mut lines: Vec<String> = season
        .marks
        .iter()
        .filter(|reading| match &reading.outcome {
            Outcome::Projected(p) => p.early <= within(MARKS_AHEAD_DAYS),
            _ => false,
        })
        .map(|reading| mark_line(words, season, reading))
        .collect();
    lines.extend(service_lines(
        season,
        |due| due.due > day && due.due <= within(NEXT_DAYS),
        |due| format!("{} lasts until {}", due.part.words(), words.day(due.due)),
    ));
    lines
}

fn mark_line(words: Words, season: &BlockSeason, reading: &MarkReading) -> String {
    let beside = if reading.told {
        ""
    } else {
        ", counted without hull split"
    };
    let firm = if season.start.status.is_firm() {
        ""
    } else {
        ", from a provisional start"
    };
    format!(
        "{}: {}{beside}{firm}",
        mark_title(reading),
        words.outcome(&reading.outcome)
    )
}

fn station_trouble(words: Words, station: &StationView, day: NaiveDate) -> Vec<String> {
    let mut lines = Vec::new();
    match station.newest {
        None => lines.push(format!("{}: no temperatures yet", station.name)),
        Some(newest) if (day - newest).num_days() > FRESH_DAYS => lines.push(format!(
            "{}: no complete day since {} ({} days); dates below are estimates",
            station.name,
            words.day(newest),
            (day - newest).num_days()
        )),
        Some(_) => {}
    }
    lines.extend(station.suspects.iter().map(|(date, reason)| {
        format!("{}: {} not used, {reason}", station.name, words.day(*date))
    }));
    lines
}

/// Blocks whose heat cannot be told, each reason once.
fn holes(words: Words, seasons: &[&BlockSeason]) -> Vec<String> {
    let mut reasons: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for season in seasons.iter().filter(|season| season.start.date.is_some()) {
        if let Err(reason) = &season.degree_days {
            reasons.entry(reason).or_default().push(&season.block.name);
        }
    }
    reasons
        .into_iter()
        .map(|(reason, blocks)| {
            let reason = words.reworded(reason);
            format!("can't tell heat of {}: {reason}", blocks.join(", "))
        })
        .collect()
}

fn table_row(words: Words, season: &BlockSeason) -> TableRow {
    let next = season
        .marks
        .iter()
        .filter(|reading| reading.told)
        .find(|reading| matches!(reading.outcome, Outcome::Projected(_)));
    TableRow {
        block: season.block.id.clone(),
        name: season.block.name.clone(),
        regime: season.block.regime.to_string(),
        start: words.start(season),
        degree_days: match &season.degree_days {
            Ok(sum) => degree_days(sum.degree_days, season.unit),
            Err(_) => "–".to_owned(),
        },
        next_mark: next.map_or_else(
            || "–".to_owned(),
            |reading| match &reading.outcome {
                Outcome::Projected(projection) => {
                    format!("{} {}", reading.name, words.value(projection.into()))
                }
                _ => String::new(),
            },
        ),
        catches: season
            .latest
            .iter()
            .map(|catch| words.catch(catch))
            .collect(),
    }
}

fn evidence(words: Words, season: &BlockSeason) -> Vec<String> {
    let mut lines = words.start_evidence(season);
    lines.push(words.heat_evidence(season));
    if season.start.date.is_some() {
        lines.extend(season.marks.iter().map(|reading| {
            format!(
                "{}: {}; {}",
                mark_title(reading),
                words.outcome(&reading.outcome),
                words.mark_evidence(season, reading)
            )
        }));
    }
    lines
}
