//! The contents of an adviser's morning digest, without markup.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, NaiveDate, Weekday};
use serde::{Deserialize, Serialize};

use crate::id::BlockId;
use crate::season::{BlockSeason, MarkReading, Projection, WhyNot, lagging};
use crate::temperature::DegreeDays;
use crate::trapping::StartStatus;

use super::ahead::{Topic, ahead};
use super::news::{changed, evidence, leads, news, some_blocks};
use super::trap_side::{BlockExposure, exposed, not_known, traps_show};
use crate::ledger::CatchUp;
use crate::ledger::Notice;
use crate::weather::is_fresh;
use crate::wording::gather::{BlockName, Lines, shared};
use crate::wording::stations::{StationView, station_trouble};
use crate::wording::words::{Words, degree_days};
use crate::wording::work::{work_briefly, work_today};

/// One block in the table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Digest {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// The one most important line.
    pub headline: String,
    /// What else is new, a short line each, most important first.
    pub also: Vec<String>,
    /// Whether nothing is new, so that the headline is about the day's work.
    pub quiet: bool,
    /// How many blocks have trap work or closed gates today.
    pub blocks_with_work: usize,
    /// How many blocks there are.
    pub blocks: usize,
    /// Trap work that is due, in the fewest words.
    pub work: Vec<Lines>,
    /// The same trap by trap.
    pub by_trap: Vec<Lines>,
    /// Starts that somebody has to decide, once a week.
    #[serde(default)]
    pub decide: Vec<Lines>,
    /// What comes in the next days.
    pub ahead: Vec<Topic>,
    /// What is new, corrected or withdrawn since the last telling.
    pub changed: Vec<Lines>,
    /// What moth traps show that were read the day before.
    pub traps: Vec<Lines>,
    /// Egg laying beside hull split and shake, of blocks with news of them.
    #[serde(default)]
    pub exposure: Vec<BlockExposure>,
    /// Dates of the year's work that are near, the same for all blocks.
    pub calendar: Vec<String>,
    /// Trouble with data or mail.
    pub trouble: Vec<String>,
    /// All blocks.
    pub table: Vec<TableRow>,
    /// Stations and methods behind the heat of the blocks.
    pub heat: Vec<String>,
    /// What is not known because it was not entered.
    pub not_known: Vec<Lines>,
    /// What the news of each block rests on.
    pub evidence: Vec<Lines>,
    /// What was left out because the mail would have grown too long; empty as a rule.
    pub left_out: Vec<String>,
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
    let news = news(words, seasons, notices);
    let blocks = seasons.len();
    let mut leads = leads(&news).into_iter();
    let of_news = leads.next();
    let work = seasons.iter().filter_map(|season| {
        let briefly = work_briefly(words, season)?;
        Some((BlockName::of(&season.block), briefly))
    });
    let traps = seasons.iter().flat_map(|season| {
        let lines = traps_show(words, season).into_iter();
        lines.map(|line| (BlockName::of(&season.block), line))
    });
    Digest {
        day,
        quiet: of_news.is_none(),
        headline: of_news.unwrap_or_else(|| work_headline(seasons, notices)),
        also: leads.collect(),
        blocks_with_work: work.clone().count(),
        blocks,
        work: shared(blocks, work),
        by_trap: by_trap(words, seasons),
        decide: decide(words, seasons, day),
        ahead: ahead(words, seasons),
        changed: changed(&news, blocks, why),
        traps: shared(blocks, traps),
        exposure: seasons
            .iter()
            .filter_map(|season| exposed(words, season, notices))
            .collect(),
        calendar: words.year_lines(day),
        trouble: all_trouble(words, seasons, stations, trouble, day),
        table: seasons
            .iter()
            .map(|season| table_row(words, season))
            .collect(),
        heat: heat(words, seasons, stations),
        not_known: not_known(words, seasons),
        evidence: evidence(words, seasons, notices),
        left_out: Vec::new(),
        weekly: false,
        catch_up: None,
    }
}

/// The trap work of the open blocks; that of a closed one waits.
fn by_trap(words: Words, seasons: &[&BlockSeason]) -> Vec<Lines> {
    let open = seasons
        .iter()
        .filter(|season| season.work.closed_until.is_none());
    let lines = open.map(|season| Lines {
        title: season.block.name.clone(),
        lines: work_today(words, season),
    });
    lines.filter(|block| !block.lines.is_empty()).collect()
}

/// The morning on which an adviser is asked to decide what the traps do not.
const DECIDED_ON: Weekday = Weekday::Mon;

/// Blocks whose start is waited for longer than it should be: once a week, and on the morning after a check
/// that the estimate does not agree with.
fn decide(words: Words, seasons: &[&BlockSeason], day: NaiveDate) -> Vec<Lines> {
    let weekly = day.weekday() == DECIDED_ON;
    let asked = lagging(seasons).into_iter();
    let asked = asked.filter(|lagging| weekly || lagging.is_new());
    let lines = asked.map(|lagging| Lines {
        title: lagging.season.block.name.clone(),
        lines: words.undecided(&lagging),
    });
    lines.collect()
}

/// The work of the day where nothing is new, else that there is none.
fn work_headline(seasons: &[&BlockSeason], notices: &[Notice]) -> String {
    let due = |season: &&&BlockSeason| work_briefly(Words::default(), season).is_some();
    let (closed, open): (Vec<&BlockSeason>, Vec<&BlockSeason>) = seasons
        .iter()
        .filter(due)
        .copied()
        .partition(|season| season.work.closed_until.is_some());
    let names: Vec<&str> = open
        .iter()
        .map(|season| season.block.name.as_str())
        .collect();
    match (names.is_empty(), closed.is_empty(), notices.is_empty()) {
        (false, ..) => format!(
            "trap work today: {}",
            some_blocks(&names, "Jun 20: trap work today")
        ),
        (true, false, _) => "trap work waits in closed blocks".to_owned(),
        (true, true, true) => "nothing due, nothing new".to_owned(),
        (true, true, false) => "no trap work due; see what changed".to_owned(),
    }
}

fn all_trouble(
    words: Words,
    seasons: &[&BlockSeason],
    stations: &[StationView],
    told: Vec<String>,
    day: NaiveDate,
) -> Vec<String> {
    let heat_from = seasons.iter().filter_map(|season| season.heat_from).min();
    let mut trouble: Vec<String> = stations
        .iter()
        .flat_map(|station| station_trouble(words, station, heat_from, day))
        .collect();
    trouble.extend(holes(words, seasons));
    trouble.extend(told);
    trouble
}

/// Blocks whose heat cannot be told, each cause once.
fn holes(words: Words, seasons: &[&BlockSeason]) -> Vec<String> {
    let mut causes: BTreeMap<&WhyNot, Vec<&str>> = BTreeMap::new();
    for season in seasons.iter().filter(|season| needs_heat(season)) {
        if let Err(why) = &season.degree_days {
            causes.entry(why).or_default().push(&season.block.name);
        }
    }
    causes
        .into_iter()
        .map(|(why, blocks)| {
            let why = words.why_not(why);
            format!("can't tell heat of {}: {why}", blocks.join(", "))
        })
        .collect()
}

/// Whether a block's heat should be known: a start newer than the station's usual lag has none yet.
fn needs_heat(season: &BlockSeason) -> bool {
    let Some(from) = season.heat_from else {
        return false;
    };
    let waits = |newest: NaiveDate| newest < from && is_fresh(newest, season.as_of);
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
                format!("{}, {range}", reading.name)
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

/// The told mark that is projected next; none once every variety was shaken.
pub(crate) fn next_mark(season: &BlockSeason) -> Option<(&MarkReading, &Projection)> {
    season
        .marks
        .iter()
        .filter(|reading| reading.told && season.all_shaken().is_none())
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
