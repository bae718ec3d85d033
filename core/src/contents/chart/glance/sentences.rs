//! A glance in sentences, for those who do not see it, and the words around it.

use chrono::NaiveDate;

use crate::season::{BlockSeason, MarkReading, Outcome};
use crate::trapping::StartStatus;
use crate::wording::Words;
use crate::wording::words::may_have_begun;
use crate::wording::work::plural;

use super::row::{has_start, marks, nothing};

/// What is drawn.
pub(super) fn subtitle(words: Words, day: NaiveDate, blocks: usize) -> String {
    format!("{}, to {}", plural(blocks, "block"), words.day(day))
}

/// One line with the key to all signs.
pub(super) fn caption(left_out: usize) -> String {
    let more = match left_out {
        0 => String::new(),
        more => format!("; {} not drawn", plural(more, "more block")),
    };
    format!(
        "One row a block: dark signs are seen or computed, amber and hollow ones projected or expected{more}"
    )
}

/// The chart in sentences: of each block its start and the date that comes next. Blocks that stand alike share one.
pub(super) fn alt(
    words: Words,
    seasons: &[&BlockSeason],
    day: NaiveDate,
    only_firm: bool,
) -> String {
    let mut alike: Vec<(String, Vec<String>)> = Vec::new();
    for season in seasons {
        let standing = standing(words, season, only_firm);
        let name = season.block.name.clone();
        match alike.iter_mut().find(|(other, _)| *other == standing) {
            Some((_, names)) => names.push(name),
            None => alike.push((standing, vec![name])),
        }
    }
    let blocks = plural(seasons.len(), "block");
    let mut sentences = vec![format!(
        "Season at a glance on {}, {blocks}.",
        words.day(day)
    )];
    let each = alike.into_iter();
    sentences.extend(each.map(|(standing, names)| {
        let names = Words::listed(&names);
        format!("{names}: {standing}.")
    }));
    sentences.join(" ")
}

/// The start, and the next date or else the last one passed.
fn standing(words: Words, season: &BlockSeason, only_firm: bool) -> String {
    let start = match has_start(season, only_firm) {
        true => Some(format!("egg-laying start {}", words.start(season))),
        false => None,
    };
    let marks = marks(season, only_firm);
    let ahead = marks
        .iter()
        .filter_map(|(reading, [_, middle, _])| Some((*middle, next(words, reading)?)));
    let passed = marks
        .iter()
        .filter_map(|(reading, [_, middle, _])| Some((*middle, passed(words, reading)?)));
    let next = ahead.min_by_key(|(middle, _)| *middle);
    let date = next.or_else(|| passed.max_by_key(|(day, _)| *day));
    let phrases: Vec<String> = start
        .into_iter()
        .chain(date.map(|(_, phrase)| phrase))
        .collect();
    match (phrases.is_empty(), flights_seen(season)) {
        (false, _) => phrases.join("; "),
        (true, Some(flights)) if season.start.status == StartStatus::NotAsked => flights,
        (true, _) => nothing(season).to_owned(),
    }
}

fn flights_seen(season: &BlockSeason) -> Option<String> {
    let flights = season.flights.as_ref().ok()?.flights.len();
    (flights > 0).then(|| format!("{} seen", plural(flights, "flight")))
}

fn next(words: Words, reading: &MarkReading) -> Option<String> {
    let projection = reading.outcome.projection()?;
    let range = words.range(projection.early, projection.late);
    let begun = may_have_begun(projection);
    Some(format!("{} projected {range}{begun}", reading.name))
}

fn passed(words: Words, reading: &MarkReading) -> Option<String> {
    match &reading.outcome {
        Outcome::Passed { date, .. } => Some(format!(
            "{} passed {}, computed",
            reading.name,
            words.day(*date)
        )),
        _ => None,
    }
}
