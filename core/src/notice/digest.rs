//! The contents of an adviser's morning digest, without markup.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use crate::id::BlockId;
use crate::orchard::Part;
use crate::season::{BlockSeason, MarkReading, Outcome, Projection};
use crate::temperature::DegreeDays;
use crate::trapping::StartStatus;

use super::catch_up::CatchUp;
use super::decide::{Change, Notice};
use super::event::{Event, EventKind};
use super::gather::gathered;
use super::stations::{FRESH_DAYS, StationView, station_trouble};
use super::trap_side::{at_harvest, not_known, traps_show};
use super::words::{Words, degree_days, mark_title};
use super::work::{service_lines, work_today};

/// How far "the next days" look.
const NEXT_DAYS: u64 = 7;
/// How far marks are listed ahead of the middle of their range.
const MARKS_AHEAD_DAYS: u64 = 14;

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
    /// What moth traps show that were read the day before.
    pub traps: Vec<BlockLines>,
    /// Shakes beside the egg laying that matters at harvest.
    pub harvest: Vec<BlockLines>,
    /// Dates of the year's work that are near, the same for all blocks.
    pub calendar: Vec<String>,
    /// Trouble with data or mail.
    pub trouble: Vec<String>,
    /// All blocks.
    pub table: Vec<TableRow>,
    /// Stations and methods behind the heat of the blocks.
    pub heat: Vec<String>,
    /// What is not known because it was not entered.
    pub not_known: Vec<String>,
    /// What each block's answers rest on.
    pub evidence: Vec<BlockLines>,
    /// Whether it comes once a week, off the season.
    pub weekly: bool,
    /// The days it makes up for, where digests were left out.
    pub catch_up: Option<CatchUp>,
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
    let heat_from = seasons.iter().filter_map(|season| season.heat_from);
    let heat_from = heat_from.min();
    let mut all_trouble: Vec<String> = stations
        .iter()
        .flat_map(|station| station_trouble(words, station, heat_from, day))
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
        traps: per_block(seasons, |season| traps_show(words, season)),
        harvest: per_block(seasons, |season| at_harvest(words, season)),
        calendar: words.year_lines(day),
        trouble: all_trouble,
        table: seasons
            .iter()
            .map(|season| table_row(words, season))
            .collect(),
        heat: heat(words, seasons, stations),
        not_known: not_known(words, seasons),
        evidence: per_block(seasons, |season| evidence(words, season)),
        weekly: false,
        catch_up: None,
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
            let sentence = words.told(&[*notice], season).brief;
            let line = format!("{}: {sentence}", season.block.name);
            (line, ranked.len() - 1)
        }
        None if work.is_empty() && notices.is_empty() => ("nothing due, nothing new".to_owned(), 0),
        None if work.is_empty() => ("no trap work due; see what changed".to_owned(), 0),
        None => {
            let open = |block: &&BlockLines| {
                let mut of_block = seasons.iter().filter(|s| s.block.id == block.block);
                of_block.any(|season| season.closed_until.is_none())
            };
            let (due, all) = (work.iter().filter(open).count(), seasons.len());
            match due {
                0 => ("trap work waits in closed blocks".to_owned(), 0),
                _ => (format!("trap work today in {due} of {all} blocks"), 0),
            }
        }
    }
}

/// Lower is more important; 9 never leads.
pub(super) fn rank(notice: &Notice) -> u8 {
    match (&notice.change, &notice.event) {
        (Change::History(_), _) | (_, Event::PastServiceLife(..)) => 9,
        (_, Event::MarginTurned(..)) => 8,
        (Change::Withdrawn { .. }, _) => 0,
        (Change::Corrected { .. }, _) => 1,
        (Change::New(_) | Change::Nearer { .. }, event) => match event.kind() {
            EventKind::Start | EventKind::SecondCandidate => 2,
            EventKind::SentinelCatch => 3,
            EventKind::MarkPassed => 4,
            EventKind::MarkNear => 5,
            EventKind::StartProvisional | EventKind::HangEggTraps => 6,
            EventKind::FlightStart | EventKind::FlightPeak | EventKind::FlightEnd => 7,
            EventKind::MarginTurned | EventKind::PastServiceLife => 9,
        },
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
        let (service, others): (Vec<&Notice>, Vec<&Notice>) =
            about.into_iter().partition(|notice| is_new_service(notice));
        let told = gathered(&others).into_iter().map(|notices| {
            let sentence = words.told(&notices, season).whole;
            match notices.first().and_then(|first| why(first)) {
                Some(why) => format!("{sentence}; {why}"),
                None => sentence,
            }
        });
        told.chain(newly_past(&service)).collect()
    })
}

const fn is_new_service(notice: &Notice) -> bool {
    matches!(
        (&notice.event, &notice.change),
        (
            Event::PastServiceLife(..),
            Change::New(_) | Change::History(_)
        )
    )
}

/// How many traps have parts newly past their service life; which ones stands in the trap work.
fn newly_past(service: &[&Notice]) -> Option<String> {
    let mut traps: BTreeMap<Part, usize> = BTreeMap::new();
    for notice in service {
        if let Event::PastServiceLife(_, part, _) = &notice.event {
            *traps.entry(*part).or_default() += 1;
        }
    }
    let parts: Vec<String> = traps
        .iter()
        .map(|(part, count)| {
            let plural = if *count == 1 { "trap" } else { "traps" };
            format!("{} of {count} {plural}", part.words())
        })
        .collect();
    (!parts.is_empty()).then(|| format!("newly past its service life: {}", parts.join(", ")))
}

/// Marks that come near, and parts whose service life ends in the next days.
fn ahead(words: Words, season: &BlockSeason) -> Vec<String> {
    let day = season.as_of;
    let soon = within(day, NEXT_DAYS);
    let near = season
        .marks
        .iter()
        .filter(|reading| is_near(season, reading));
    let mut lines: Vec<String> = near
        .map(|reading| mark_line(words, season, reading))
        .collect();
    lines.extend(service_lines(
        season,
        |due| due.due > day && due.due <= soon,
        |due| format!("{} lasts until {}", due.part.words(), words.day(due.due)),
    ));
    lines.extend(words.calendar_lines(season));
    lines
}

fn within(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(Days::new(days)).unwrap_or(day)
}

/// Whether the told reading of a mark has begun its range or comes near the middle of it.
fn is_near(season: &BlockSeason, reading: &MarkReading) -> bool {
    let told = reading.told && !season.lags(reading);
    told && !season.is_shaken(reading)
        && reading.outcome.projection().is_some_and(|projection| {
            projection.middle <= within(season.as_of, MARKS_AHEAD_DAYS)
                || projection.early <= within(season.as_of, NEXT_DAYS)
        })
}

/// A mark ahead; where hull split is only expected, both of its readings stand in one line.
fn mark_line(words: Words, season: &BlockSeason, reading: &MarkReading) -> String {
    let same = |other: &&MarkReading| {
        !other.told && other.mark == reading.mark && other.varieties == reading.varieties
    };
    let beside = season.marks.iter().find(same).and_then(|other| {
        let range = words.value(other.outcome.projection()?.into());
        Some(format!("; counted without hull split {range}"))
    });
    let firm = if !reading.rests_on_start || season.start.status.is_firm() {
        ""
    } else {
        ", from a provisional start"
    };
    format!(
        "{}: {}{firm}{}",
        mark_title(reading),
        words.outcome(&reading.outcome),
        beside.unwrap_or_default()
    )
}

/// Blocks whose heat cannot be told, each reason once.
fn holes(words: Words, seasons: &[&BlockSeason]) -> Vec<String> {
    let mut reasons: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for season in seasons.iter().filter(|season| needs_heat(season)) {
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

/// Whether a block's heat should be known: a start newer than the station's usual lag has none yet.
fn needs_heat(season: &BlockSeason) -> bool {
    let Some(from) = season.heat_from else {
        return false;
    };
    let fresh = |newest: NaiveDate| (season.as_of - newest).num_days() <= FRESH_DAYS;
    let waits = |newest: NaiveDate| newest < from && fresh(newest);
    !season.newest_day.is_some_and(waits)
}

fn table_row(words: Words, season: &BlockSeason) -> TableRow {
    let next = next_mark(season);
    TableRow {
        block: season.block.id.clone(),
        name: season.block.name.clone(),
        regime: season.block.regime.to_string(),
        start: words.start(season),
        degree_days: match &season.degree_days {
            Ok(sum) => heat_since(words, season, sum.degree_days),
            Err(_) => "–".to_owned(),
        },
        next_mark: next.map_or_else(
            || {
                season
                    .without_marks
                    .clone()
                    .unwrap_or_else(|| "–".to_owned())
            },
            |(reading, projection)| {
                let range = words.value(projection.into());
                format!("{}, {range}", mark_title(reading))
            },
        ),
        catches: season
            .latest
            .iter()
            .map(|catch| words.catch_in(season, catch))
            .collect(),
    }
}

/// The heat since the start, or since the day that stands in its place.
fn heat_since(words: Words, season: &BlockSeason, sum: DegreeDays) -> String {
    let heat = degree_days(sum, season.unit);
    match (season.start.status, season.heat_from) {
        (StartStatus::NotAsked, Some(from)) => format!("{heat} since {}", words.day(from)),
        _ => heat,
    }
}

/// The told mark that is projected next, of the varieties that differ the earliest.
pub(super) fn next_mark(season: &BlockSeason) -> Option<(&MarkReading, &Projection)> {
    season
        .marks
        .iter()
        .filter(|reading| reading.told && !season.lags(reading) && !season.is_shaken(reading))
        .filter_map(|reading| Some((reading, reading.outcome.projection()?)))
        .min_by_key(|(_, projection)| projection.middle)
}

fn heat(words: Words, seasons: &[&BlockSeason], stations: &[StationView]) -> Vec<String> {
    let counting = seasons
        .iter()
        .filter(|season| season.without_marks.is_none());
    let sources: BTreeSet<String> = counting.map(|season| words.heat_source(season)).collect();
    let forecasts = stations.iter().filter_map(|station| {
        let source = station.forecast?;
        Some(format!("{}: forecast by {source}", station.name))
    });
    sources.into_iter().chain(forecasts).collect()
}

/// The start, the mark passed last, and every mark that comes near, stands in the table or cannot
/// be told.
fn evidence(words: Words, season: &BlockSeason) -> Vec<String> {
    let mut lines = words.start_evidence(season);
    lines.extend(heat_and_marks(words, season));
    lines
}

fn heat_and_marks(words: Words, season: &BlockSeason) -> Vec<String> {
    let mut lines = Vec::new();
    if season.heat_from.is_none() {
        return lines;
    }
    lines.push(match &season.degree_days {
        Ok(sum) => format!("heat: {}", words.heat_sum(season, sum)),
        Err(reason) => format!("heat: can't tell: {}", words.reworded(reason)),
    });
    let next = next_mark(season).map(|(reading, _)| &reading.mark);
    let last = season
        .marks
        .iter()
        .rfind(|reading| reading.told && matches!(reading.outcome, Outcome::Passed { .. }));
    let shown = season.marks.iter().filter(|reading| {
        let mark = Some(&reading.mark);
        let cannot_tell = matches!(reading.outcome, Outcome::CannotTell { .. });
        cannot_tell
            || mark == next
            || mark == last.map(|last| &last.mark)
            || is_near(season, reading)
    });
    lines.extend(shown.map(|reading| words.mark_line(season, reading)));
    lines.extend(words.hull_split_evidence(season));
    lines
}
