//! The contents of an adviser's morning digest, without markup: what is new, today's work, the blocks that have
//! something to say. All else is a command away.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, Weekday};
use serde::{Deserialize, Serialize};

use crate::id::PersonId;
use crate::ledger::{CatchUp, Notice};
use crate::season::{BlockSeason, Outcome, WhyNot, lagging};
use crate::weather::is_fresh;
use crate::wording::gather::{Lines, grouped, name_list};
use crate::wording::stations::{StationView, station_trouble};
use crate::wording::trap_plan::WHERE_TO_LOOK;
use crate::wording::words::Words;
use crate::wording::work::{hangings_ahead, plural};

use super::block_rows::{BlockRows, block_rows, next_mark};
use super::headline::Headline;
use super::news::{NewsItem, headline, news, told};
use super::single::MadeOf;
use super::work_by_route::{RouteWork, blocks_with_work, work_by_route};

/// A morning digest.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Digest {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// What a subject says: the day and the most important of what is new or due.
    pub headline: String,
    /// What stands instead of all else on a morning with nothing new and nothing due.
    pub quiet: Option<String>,
    /// What is new, corrected or withdrawn since the last telling.
    pub news: Vec<NewsItem>,
    /// Trap work that is due, by route.
    pub work: Vec<RouteWork>,
    /// Starts that somebody has to decide, once a week.
    pub decide: Vec<Lines>,
    /// Once a week, what is hung in the next days and which dates of the year's work are near.
    pub week: Vec<String>,
    /// Trouble with data or mail.
    pub trouble: Vec<String>,
    /// Who made the forecasts that projections go through, and whose past years they go on with.
    #[serde(default)]
    pub forecasts: Vec<String>,
    /// Blocks that have something to say.
    pub blocks: BlockRows,
    /// What was left out because the mail would have grown too long; empty as a rule.
    pub left_out: Vec<String>,
    /// Whether it comes once a week, off the season.
    pub weekly: bool,
    /// The days it makes up for, where digests were left out.
    pub catch_up: Option<CatchUp>,
}

/// The morning on which an adviser hears of what changes slowly, and is asked to decide what the traps do not.
const ONCE_A_WEEK: Weekday = Weekday::Mon;

/// Puts together one adviser's digest from their blocks' seasons and tonight's notices. `trouble`
/// are lines that only the daemon knows of, such as a failed fetch; `why` gives the cause of a
/// change, where it is known.
#[must_use]
pub fn digest(
    of: &MadeOf<'_>,
    seasons: &[&BlockSeason],
    notices: &[Notice],
    trouble: Vec<String>,
    why: impl Fn(&Notice) -> Option<String>,
) -> Digest {
    let (words, day) = (of.words, of.day);
    let name = |person: &PersonId| {
        let name = of.names.get(person).cloned();
        name.unwrap_or_else(|| person.to_string())
    };
    let news = news(words, seasons, notices);
    let blocks = block_rows(words, seasons, notices, &name);
    let mut digest = Digest {
        day,
        headline: String::new(),
        quiet: None,
        news: told(words, &news, &name, why),
        work: work_by_route(words, of.orchard, seasons, &name),
        decide: decide(words, seasons, day),
        week: match day.weekday() == ONCE_A_WEEK {
            true => week(words, seasons, day),
            false => Vec::new(),
        },
        trouble: all_trouble(words, seasons, of.stations, trouble, day),
        forecasts: forecasts(of.words, of.stations),
        blocks,
        left_out: Vec::new(),
        weekly: false,
        catch_up: None,
    };
    let day = words.day(day);
    digest.headline =
        headline(&news, &day).unwrap_or_else(|| quiet_headline(&digest, seasons, day));
    let is_quiet = digest.news.is_empty() && digest.work.is_empty() && digest.decide.is_empty();
    digest.quiet = (is_quiet && digest.blocks.rows.is_empty()).then(|| quiet(words, seasons));
    digest
}

impl Digest {
    /// With trouble leading its subject: of data that is not there the rest may be out of date.
    #[must_use]
    pub fn led_by(self, words: Words, trouble: &str) -> Self {
        let headline = Headline {
            begins: words.day(self.day),
            brief: trouble,
            blocks: Vec::new(),
        };
        let headline = headline.words(self.news.len());
        Self { headline, ..self }
    }
}

/// The day's work where nothing is new, else that there is none.
fn quiet_headline(digest: &Digest, seasons: &[&BlockSeason], day: String) -> String {
    let work = plural(blocks_with_work(seasons), "block");
    let brief = match (digest.work.is_empty(), digest.news.is_empty()) {
        (false, _) => format!("trap work in {work}"),
        (true, false) => "no trap work; see what is new".to_owned(),
        (true, true) if digest.blocks.rows.is_empty() => "nothing due, nothing new".to_owned(),
        (true, true) => "new readings, no trap work".to_owned(),
    };
    let headline = Headline {
        begins: day,
        brief: &brief,
        blocks: Vec::new(),
    };
    headline.words(0)
}

/// A quiet morning in a sentence or two: what comes next.
fn quiet(words: Words, seasons: &[&BlockSeason]) -> String {
    let blocks = plural(seasons.len(), "block");
    let next = seasons.iter().filter_map(|season| {
        let (reading, projection) = next_mark(season)?;
        Some((projection.early, season, reading, projection))
    });
    let next = next.min_by_key(|(early, ..)| *early);
    let next = next.map(|(_, season, reading, projection)| {
        let range = words.range(projection.early, projection.late);
        format!(
            " Next: {} in {}, projected {range}.",
            reading.name, season.block.name
        )
    });
    let readings = seasons.iter().flat_map(|season| &season.work.readings);
    let due = readings
        .filter(|reading| !reading.optional)
        .map(|reading| reading.due)
        .min();
    let due = due.map(|due| format!(" Traps are read next on {}.", words.day(due)));
    format!(
        "Nothing new and nothing due in {blocks}.{}{}",
        next.unwrap_or_default(),
        due.unwrap_or_default()
    )
}

/// Blocks whose start is waited for longer than it should be: once a week, and on the morning after a check
/// that the estimate does not agree with.
fn decide(words: Words, seasons: &[&BlockSeason], day: NaiveDate) -> Vec<Lines> {
    let weekly = day.weekday() == ONCE_A_WEEK;
    let asked = lagging(seasons).into_iter();
    let asked = asked.filter(|lagging| weekly || lagging.is_new());
    let lines = asked.map(|lagging| Lines {
        title: lagging.season.block.name.clone(),
        lines: words.undecided(&lagging),
    });
    lines.collect()
}

/// Traps to hang in the next days, as declared, and dates of the year's work.
fn week(words: Words, seasons: &[&BlockSeason], day: NaiveDate) -> Vec<String> {
    let hangings = seasons.iter().flat_map(|season| {
        let lines = hangings_ahead(words, season).into_iter();
        lines.map(|line| format!("{}, {line}", season.block.name))
    });
    let split = seasons.iter().filter_map(|season| {
        let varieties = Words::split_looked_for(season)?;
        Some(format!("{} ({varieties})", season.block.name))
    });
    let split: Vec<String> = split.collect();
    let split = (!split.is_empty()).then(|| {
        format!(
            "hull split not seen yet, {WHERE_TO_LOOK}: {}",
            split.join(", ")
        )
    });
    let open = seasons.iter().flat_map(|season| {
        let lines = words.other_open_lines(season).into_iter();
        lines.map(|line| (line, season.block.name.as_str()))
    });
    let open = grouped(open).into_iter();
    let open = open.map(|(line, blocks)| format!("open: {line}: {}", name_list(&blocks)));
    let year = words.year_lines(day);
    hangings.chain(split).chain(open).chain(year).collect()
}

fn forecasts(words: Words, stations: &[StationView]) -> Vec<String> {
    let by = stations.iter().flat_map(|station| {
        let borrowed = station.borrowed.as_ref();
        let borrowed = borrowed.map(|borrowed| words.borrowed(borrowed, station.unit));
        let forecast = station
            .forecast
            .map(|source| format!("forecast by {source}"));
        let lines = borrowed.into_iter().chain(forecast);
        lines.map(|line| format!("{}: {line}", station.name))
    });
    by.collect()
}

fn all_trouble(
    words: Words,
    seasons: &[&BlockSeason],
    stations: &[StationView],
    told: Vec<String>,
    day: NaiveDate,
) -> Vec<String> {
    let mut trouble: Vec<String> = stations
        .iter()
        .flat_map(|station| {
            let open_from = seasons
                .iter()
                .filter(|season| season.block.station == station.station)
                .filter_map(|season| open_from(season))
                .min();
            station_trouble(words, station, open_from, day)
        })
        .collect();
    trouble.extend(holes(words, seasons));
    trouble.extend(told);
    trouble
}

/// The first day whose heat bears on a date of the block that is still open: that of the newest passed mark of a
/// generation, else that from which heat counts; `None` once nothing is open.
fn open_from(season: &BlockSeason) -> Option<NaiveDate> {
    next_mark(season)?;
    let passed = season
        .marks
        .iter()
        .filter(|reading| reading.told && reading.begins_laying);
    let passed = passed.filter_map(|reading| match reading.outcome {
        Outcome::Passed { date, .. } => Some(date),
        _ => None,
    });
    passed.max().or(season.heat_from)
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
