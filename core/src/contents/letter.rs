//! The contents of a grower's weekly letter in plain words, without markup. It tells where things stand;
//! it is never the first to tell news, and holds nothing that growers are not told.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::id::{BlockId, InsectId, StationId};
use crate::season::{BlockSeason, MarkReading, Outcome};
use crate::trapping::{Catch, StartStatus};

use super::digest::next_mark;
use crate::ledger::Value;
use crate::ledger::{Change, Notice, Told, WhyGone};
use crate::weather::is_fresh;
use crate::wording::ExposureTable;
use crate::wording::stations::StationView;
use crate::wording::words::{Words, degree_days, may_have_begun};
use crate::wording::work::plural;

/// A letter looks back over so many days.
const WEEK_DAYS: u64 = 7;

/// One grower's week on one adviser's blocks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Letter {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// The one most important line.
    pub headline: String,
    /// How many more blocks there are beside that of the headline.
    pub more: usize,
    /// Each block in a few lines.
    pub blocks: Vec<LetterBlock>,
    /// What stations lack.
    pub trouble: Vec<String>,
    /// The words of the trade that it uses, each explained once.
    pub terms: Vec<String>,
}

/// One block of a letter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LetterBlock {
    /// Its name.
    pub title: String,
    /// How it stands.
    pub lines: Vec<String>,
    /// Egg laying beside each variety's hull split and shake.
    #[serde(default)]
    pub exposure: Vec<ExposureTable>,
}

/// Writes a grower's letter about their blocks; `None` without any. `told`: what they were told last of each
/// event, tonight's notices included.
#[must_use]
pub fn letter(
    words: Words,
    day: NaiveDate,
    seasons: &[&BlockSeason],
    stations: &[StationView],
    told: &[Told],
) -> Option<Letter> {
    let told = this_week(told, day);
    let blocks: Vec<LetterBlock> = seasons
        .iter()
        .map(|season| LetterBlock {
            title: season.block.name.clone(),
            lines: lines(words, season, about(&told, season)),
            exposure: exposure(words, season),
        })
        .collect();
    Some(Letter {
        day,
        headline: headline(words, seasons)?,
        more: blocks.len() - 1,
        trouble: trouble(words, day, seasons, stations),
        terms: terms(seasons, &blocks),
        blocks,
    })
}

/// The date that comes first, else how the first block stands.
fn headline(words: Words, seasons: &[&BlockSeason]) -> Option<String> {
    let next = seasons.iter().filter_map(|season| {
        let (reading, projection) = firm_next(season)?;
        let range = words.range(projection.early, projection.late);
        let line = format!("{}: next {} {range}", season.block.name, reading.name);
        Some((projection.middle, line))
    });
    let first = next.min_by_key(|(middle, _)| *middle);
    let standing = || {
        let season = seasons.first()?;
        Some(format!(
            "{}: {}",
            season.block.name,
            standing(words, season)
        ))
    };
    first.map(|(_, line)| line).or_else(standing)
}

fn lines(words: Words, season: &BlockSeason, told: &[(NaiveDate, Notice)]) -> Vec<String> {
    let mut lines = vec![standing(words, season)];
    lines.extend(last_passed(words, season));
    lines.extend(firm_next(season).map(|(reading, projection)| {
        let range = words.value(projection.into());
        let begun = may_have_begun(projection);
        format!("next, projected: {}, {range}{begun}", reading.name)
    }));
    lines.extend(season.latest.iter().map(|catch| caught(season, catch)));
    lines.push(work(words, season));
    lines.extend(told.iter().map(|(on, notice)| {
        let sentence = words.told(&[notice], season).brief;
        format!("told on {}: {sentence}", words.day(*on))
    }));
    let unknown = words.not_known_lines(season).into_iter();
    lines.extend(unknown.map(|line| format!("not known: {line}")));
    lines
}

/// Nothing of a start that a next check may take back.
fn exposure(words: Words, season: &BlockSeason) -> Vec<ExposureTable> {
    match season.start.status.is_firm() {
        true => words.exposure(season, false),
        false => Vec::new(),
    }
}

/// Where the season stands, without anything that a next check may take back.
fn standing(words: Words, season: &BlockSeason) -> String {
    let heat = |since: &str| match &season.degree_days {
        Ok(sum) => {
            let heat = degree_days(sum.degree_days, season.unit);
            format!("; warmth {since}: {heat}")
        }
        Err(why) => format!("; warmth {since}: can't tell, {}", words.why_not(why)),
    };
    let start = &season.start;
    if let Some(why) = &season.without_marks {
        return why.clone();
    }
    match (start.status, start.date.or(season.heat_from)) {
        (StartStatus::NotAsked, Some(from)) => {
            format!(
                "warmth is counted from {}{}",
                words.day(from),
                heat("since then")
            )
        }
        (status, Some(date)) if status.is_firm() => {
            let day = words.day(date);
            format!(
                "egg-laying start {}: {day}{}",
                status.words(),
                heat("since then")
            )
        }
        (StartStatus::CannotTell, _) => {
            "the traps cannot show an egg-laying start, so no dates can be given".to_owned()
        }
        _ => "the egg-laying start is not yet known, so no dates can be given".to_owned(),
    }
}

/// Whether growers may be told what a reading of a mark says.
fn is_firm(season: &BlockSeason, reading: &MarkReading) -> bool {
    !reading.rests_on_start || season.start.status.is_firm()
}

/// The next mark, where it rests on nothing provisional.
fn firm_next(season: &BlockSeason) -> Option<(&MarkReading, &crate::season::Projection)> {
    next_mark(season).filter(|(reading, _)| is_firm(season, reading))
}

/// The mark passed last, where no estimated day alone carries it over.
fn last_passed(words: Words, season: &BlockSeason) -> Option<String> {
    let readings = season.marks.iter();
    let told = readings.filter(|reading| reading.told && is_firm(season, reading));
    let passed = told.filter_map(|reading| match reading.outcome {
        Outcome::Passed { date, firm, .. } => firm.then_some((date, reading)),
        _ => None,
    });
    let (date, reading) = passed.max_by_key(|(date, _)| *date)?;
    Some(format!(
        "passed: {}, {} (computed, not an observation)",
        reading.name,
        words.day(date)
    ))
}

/// What one kind of trap caught in the last days, beside the same days a year before.
fn caught(season: &BlockSeason, catch: &Catch) -> String {
    let kind = catch.kind.name();
    if catch.traps_read == 0 {
        return format!("{kind} traps: not read in the last {WEEK_DAYS} days");
    }
    let mut year_before = season.beside.year_before.iter();
    let alike = |other: &&Catch| {
        other.kind == catch.kind && other.counted == catch.counted && other.traps_read > 0
    };
    let before = year_before.find(alike).map(|before| {
        let year = season.year - 1;
        format!("; in the same days of {year} {}", count(before))
    });
    format!(
        "{kind} traps: {} in the last {WEEK_DAYS} days{}",
        count(catch),
        before.unwrap_or_default()
    )
}

fn count(catch: &Catch) -> String {
    format!(
        "{} {} in {}",
        catch.count,
        catch.counted.words(catch.count),
        plural(catch.traps_read, "trap")
    )
}

/// What is overdue at the traps.
fn work(words: Words, season: &BlockSeason) -> String {
    let late = |due: NaiveDate| due < season.as_of;
    let readings = season
        .work
        .readings
        .iter()
        .filter(|r| !r.optional && late(r.due));
    let parts = season.work.service.iter().filter(|part| late(part.due));
    let (readings, parts) = (readings.count(), parts.count());
    let closed = season.work.closed_until.map(|until| {
        let until = words.day(until);
        format!("; nobody may enter before {until}, as noted from the posting")
    });
    let overdue = match (readings, parts) {
        (0, 0) => "nothing overdue".to_owned(),
        (readings, 0) => format!("{} overdue", plural(readings, "reading")),
        (0, parts) => format!("{} to renew", plural(parts, "part")),
        (readings, parts) => format!(
            "{} overdue, {} to renew",
            plural(readings, "reading"),
            plural(parts, "part")
        ),
    };
    format!("work at the traps: {overdue}{}", closed.unwrap_or_default())
}

/// What was told in the last days by the block and insect, the oldest first.
type ThisWeek<'a> = BTreeMap<(&'a BlockId, &'a InsectId), Vec<(NaiveDate, Notice)>>;

fn about<'a>(told: &'a ThisWeek<'a>, season: &'a BlockSeason) -> &'a [(NaiveDate, Notice)] {
    let told = told.get(&(&season.block.id, &season.insect));
    told.map_or(&[], Vec::as_slice)
}

fn this_week(told: &[Told], day: NaiveDate) -> ThisWeek<'_> {
    let from = day.checked_sub_days(Days::new(WEEK_DAYS)).unwrap_or(day);
    let mut recent: Vec<&Told> = told.iter().filter(|told| told.on > from).collect();
    recent.sort_by_key(|told| told.on);
    let mut by_block = ThisWeek::new();
    for told in recent {
        let of_block = by_block.entry((&told.block, &told.insect)).or_default();
        of_block.extend(again(told).map(|notice| (told.on, notice)));
    }
    by_block
}

/// What was told, to be said once more. What was told before a withdrawal does not stand in the ledger's last
/// row, and is not said.
fn again(told: &Told) -> Option<Notice> {
    let change = match told.value {
        Some(value) => Change::New(value),
        None => Change::Withdrawn {
            was: Value::Day(told.on),
            told_on: told.on,
            // The ledger does not hold why, and the brief does not say it.
            why: WhyGone::ShownNoMore,
        },
    };
    Some(Notice {
        year: told.year,
        block: told.block.clone(),
        insect: told.insect.clone(),
        event: told.event.parse().ok()?,
        revision: told.revision,
        step: told.step,
        late: None,
        to_release: false,
        change,
    })
}

/// Stations of the blocks that send nothing, in one plain line each.
fn trouble(
    words: Words,
    day: NaiveDate,
    seasons: &[&BlockSeason],
    stations: &[StationView],
) -> Vec<String> {
    let used: BTreeSet<&StationId> = seasons.iter().map(|season| &season.block.station).collect();
    let used = stations
        .iter()
        .filter(|station| used.contains(&station.station));
    used.filter_map(|station| match station.newest {
        None => Some(format!("{} has sent no temperatures yet", station.name)),
        Some(newest) if !is_fresh(newest, day) => Some(format!(
            "{} has sent no temperatures since {}; dates that rest on it are estimates",
            station.name,
            words.day(newest)
        )),
        Some(_) => None,
    })
    .collect()
}

/// Each word of the trade that the letter uses, explained in half a sentence.
fn terms(seasons: &[&BlockSeason], blocks: &[LetterBlock]) -> Vec<String> {
    let any = |holds: fn(&BlockSeason) -> bool| seasons.iter().any(|season| holds(season));
    let used = [
        (
            any(|season| season.start.status.is_firm()),
            "Egg-laying start: the day on which eggs on the egg traps begin to rise; warmth is counted from it.",
        ),
        (
            any(|season| season.degree_days.is_ok()),
            "°F-days or °C-days: warmth in which the insect can grow, added up day by day.",
        ),
        (
            any(|season| firm_next(season).is_some()),
            "Projected: from warmth so far, this station's past years and how much the insect itself varies; the \
             middle day is as likely too early as too late. The days are those on which a generation's egg \
             laying begins; it goes on for weeks.",
        ),
        (
            blocks.iter().any(|block| !block.exposure.is_empty()),
            "After split, after shake: days from a variety's first split or shake to the middle of the range in which \
             egg laying begins, with those between the ends of the ranges; below zero where it begins before.",
        ),
        (
            any(|season| !season.latest.is_empty()),
            "Catches have not predicted damage reliably.",
        ),
    ];
    let used = used.into_iter().filter(|(used, _)| *used);
    used.map(|(_, term)| term.to_owned()).collect()
}

#[cfg(test)]
mod tests;
