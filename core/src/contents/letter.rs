//! The contents of a weekly letter in plain words, without markup. It tells where things stand;
//! it is never the first to tell news, and holds nothing that growers are not told.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, Days, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::id::{BlockId, InsectId, PersonId, StationId};
use crate::season::{BlockSeason, MarkReading, Outcome, Projection};
use crate::trapping::StartStatus;

use super::block_rows::{harvest, next_mark};
use super::headline::Headline;
use crate::ledger::Value;
use crate::ledger::{Change, Notice, Told, WhyGone};
use crate::weather::is_fresh;
use crate::wording::stations::StationView;
use crate::wording::words::{Words, may_have_begun, short_mark};
use crate::wording::work::plural;

/// A letter looks back over so many days.
const WEEK_DAYS: u64 = 7;
/// A date that begins within so many days is worth a letter by itself.
const SOON_DAYS: i64 = 21;

/// A week on one adviser's blocks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Letter {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// What a subject says: the week and the date that comes first.
    pub headline: String,
    /// Each block that has something to say, in a few lines.
    pub blocks: Vec<LetterBlock>,
    /// How many others there are; `None` without any.
    pub others: Option<String>,
    /// What stations lack.
    pub trouble: Vec<String>,
    /// The words of the trade that it uses, each explained once a month.
    pub terms: Vec<String>,
}

/// One block of a letter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LetterBlock {
    /// Its name.
    pub title: String,
    /// How it stands.
    pub lines: Vec<String>,
}

/// Writes a letter about some blocks; `None` when there is nothing to say of any. `told`: what the reader was told
/// last of each event, tonight's notices included. `names`: those of growers, to stand beside blocks of several.
#[must_use]
pub fn letter(
    words: Words,
    day: NaiveDate,
    (seasons, stations): (&[&BlockSeason], &[StationView]),
    told: &[Told],
    names: &BTreeMap<PersonId, String>,
) -> Option<Letter> {
    let told = this_week(told, day);
    let growers: BTreeSet<&PersonId> = seasons.iter().map(|season| &season.block.grower).collect();
    let title = |season: &BlockSeason| {
        let name = &season.block.name;
        match names
            .get(&season.block.grower)
            .filter(|_| growers.len() > 1)
        {
            Some(grower) => format!("{name} ({grower})"),
            None => name.clone(),
        }
    };
    let (saying, silent): (Vec<&BlockSeason>, Vec<&BlockSeason>) = seasons
        .iter()
        .partition(|season| says_something(season, about(&told, season)));
    let blocks: Vec<LetterBlock> = saying
        .iter()
        .map(|season| LetterBlock {
            title: title(season),
            lines: lines(words, season, about(&told, season)),
        })
        .collect();
    let trouble = trouble(words, day, seasons, stations);
    (!blocks.is_empty() || !trouble.is_empty()).then(|| Letter {
        day,
        headline: headline(words, day, &saying),
        others: (!silent.is_empty()).then(|| {
            let blocks = plural(silent.len(), "block");
            format!("{blocks} with nothing new this week.")
        }),
        trouble,
        terms: terms(day, &saying),
        blocks,
    })
}

/// Whether there is anything to say of a block: it was read or told of in the week, a date is near, or work is
/// overdue.
fn says_something(season: &BlockSeason, told: &[(NaiveDate, Notice)]) -> bool {
    let near = firm_next(season)
        .is_some_and(|(_, projection)| (projection.early - season.as_of).num_days() <= SOON_DAYS);
    !told.is_empty() || near || read(season).next().is_some() || overdue(season).is_some()
}

/// Readings of the week.
fn read(season: &BlockSeason) -> impl Iterator<Item = &crate::trapping::LastRead> {
    let week = WEEK_DAYS as i64;
    let read = season.last_read.iter();
    read.filter(move |read| (season.as_of - read.on).num_days() <= week)
}

/// The date that comes first.
fn headline(words: Words, day: NaiveDate, seasons: &[&BlockSeason]) -> String {
    let next = seasons.iter().filter_map(|season| {
        let (reading, projection) = firm_next(season)?;
        let range = words.range(projection.early, projection.late);
        let brief = format!("{} {range}", short_mark(&reading.name));
        Some((projection.middle, brief, season.block.name.as_str()))
    });
    let first = next.min_by_key(|(middle, ..)| *middle);
    let (brief, blocks) = match &first {
        Some((_, brief, block)) => (brief.as_str(), vec![*block]),
        None => ("how your blocks stand", Vec::new()),
    };
    let headline = Headline {
        begins: format!("Week to {}", words.day(day)),
        brief,
        blocks,
    };
    headline.words(0)
}

fn lines(words: Words, season: &BlockSeason, told: &[(NaiveDate, Notice)]) -> Vec<String> {
    let mut lines = vec![standing(words, season)];
    lines.extend(last_passed(words, season));
    lines.extend(firm_next(season).map(|(reading, projection)| {
        let range = words.value(projection.into());
        let begun = may_have_begun(projection);
        format!("next: {}, projected {range}{begun}", reading.name)
    }));
    lines.extend(read(season).map(|read| words.last_read(read)));
    lines.extend(Some(harvest(words, season)).filter(|harvest| !harvest.is_empty()));
    lines.extend(overdue(season));
    lines.extend(closed(words, season));
    lines.extend(told.iter().map(|(on, notice)| {
        let sentence = words.told(&[notice], season);
        let when = sentence
            .when
            .map_or_else(String::new, |when| format!(", {when}"));
        format!("told {}: {}{when}", words.day(*on), sentence.brief)
    }));
    lines
}

/// Where the season stands, without anything that a next check may take back.
fn standing(words: Words, season: &BlockSeason) -> String {
    let start = &season.start;
    if let Some(why) = &season.without_marks {
        return why.clone();
    }
    match (start.status, start.date.or(season.heat_from)) {
        (StartStatus::NotAsked, Some(from)) => {
            format!("warmth is counted from {}", words.day(from))
        }
        (status, Some(_)) if status.is_firm() => {
            format!("egg-laying start: {}", words.start_of(start))
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
fn firm_next(season: &BlockSeason) -> Option<(&MarkReading, &Projection)> {
    next_mark(season).filter(|(reading, _)| is_firm(season, reading))
}

/// The mark passed last, where no estimated day alone carries it over.
fn last_passed(words: Words, season: &BlockSeason) -> Option<String> {
    let readings = season.marks.iter();
    let told =
        readings.filter(|reading| reading.told && reading.to_growers && is_firm(season, reading));
    let passed = told.filter_map(|reading| match reading.outcome {
        Outcome::Passed { date, firm, .. } => firm.then_some((date, reading)),
        _ => None,
    });
    let (date, reading) = passed.max_by_key(|(date, _)| *date)?;
    let seen = match reading.begins_laying {
        true => "egg laying not observed",
        false => "not an observation",
    };
    Some(format!(
        "{}: degree-day mark passed {} (computed; {seen})",
        reading.name,
        words.day(date)
    ))
}

/// What is overdue at the traps.
fn overdue(season: &BlockSeason) -> Option<String> {
    let late = |due: NaiveDate| due < season.as_of;
    let readings = season
        .work
        .readings
        .iter()
        .filter(|r| !r.optional && late(r.due));
    let parts = season.work.service.iter().filter(|part| late(part.due));
    let counted = [(readings.count(), "reading"), (parts.count(), "change")];
    let counted = counted.into_iter().filter(|(count, _)| *count > 0);
    let counted: Vec<String> = counted.map(|(count, what)| plural(count, what)).collect();
    (!counted.is_empty()).then(|| format!("overdue at the traps: {}", counted.join(", ")))
}

fn closed(words: Words, season: &BlockSeason) -> Option<String> {
    let until = words.day(season.work.closed_until?);
    Some(format!(
        "nobody may enter before {until}, as noted from the posting"
    ))
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

/// Each word of the trade that the letter uses, explained in half a sentence, in the first letter of a month.
fn terms(day: NaiveDate, seasons: &[&BlockSeason]) -> Vec<String> {
    let any = |holds: fn(&BlockSeason) -> bool| seasons.iter().any(|season| holds(season));
    let used = [
        (
            any(|season| season.start.status.is_firm()),
            "Egg-laying start (biofix): the day on which eggs on the egg traps begin to rise; warmth is counted from it.",
        ),
        (
            any(|season| firm_next(season).is_some()),
            "Projected: from warmth so far, this station's past years and how much the insect itself varies. The days \
             are those on which a generation's egg laying begins; it goes on for weeks.",
        ),
        (
            any(|season| !season.last_read.is_empty()),
            "Catches have not predicted damage reliably.",
        ),
    ];
    let first_of_month = u64::from(day.day()) <= WEEK_DAYS;
    let used = used.into_iter().filter(|(used, _)| *used && first_of_month);
    used.map(|(_, term)| term.to_owned()).collect()
}

#[cfg(test)]
mod tests;
