//! The contents of a grower's key-date alerts, without markup.

use chrono::NaiveDate;

use crate::id::BlockId;
use crate::season::BlockSeason;

use super::decide::{Change, Notice};
use super::digest::{rank, season_of, short};
use super::event::Event;
use super::words::Words;

/// All that one grower is told on one day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alert {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// The one most important line.
    pub headline: String,
    /// The key dates, most important first.
    pub items: Vec<AlertItem>,
}

/// One key date.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlertItem {
    /// The block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// The notice as a sentence.
    pub sentence: String,
    /// What it rests on.
    pub evidence: Vec<String>,
}

/// Puts together one grower's alert; `None` when there is nothing to tell. What happened before
/// the first telling is history and is not alerted. `why` gives the cause of a change.
#[must_use]
pub fn alert(
    words: Words,
    day: NaiveDate,
    seasons: &[&BlockSeason],
    notices: &[Notice],
    why: impl Fn(&Notice) -> Option<String>,
) -> Option<Alert> {
    let mut told: Vec<(&Notice, &BlockSeason)> = notices
        .iter()
        .filter(|notice| !matches!(notice.change, Change::History(_)))
        .filter_map(|notice| Some((notice, season_of(seasons, notice)?)))
        .collect();
    told.sort_by_key(|(notice, _)| rank(notice));
    let (first, season) = told.first()?;
    let more = match told.len() - 1 {
        0 => String::new(),
        more => format!(" (+{more} more)"),
    };
    Some(Alert {
        day,
        headline: format!(
            "{}: {}{more}",
            season.block.name,
            short(words, first, season)
        ),
        items: told
            .iter()
            .map(|(notice, season)| item(words, notice, season, &why))
            .collect(),
    })
}

fn item(
    words: Words,
    notice: &Notice,
    season: &BlockSeason,
    why: &impl Fn(&Notice) -> Option<String>,
) -> AlertItem {
    let mut evidence = why(notice).map_or_else(Vec::new, |why| vec![why]);
    evidence.extend(evidence_of(words, &notice.event, season));
    AlertItem {
        block: season.block.id.clone(),
        name: season.block.name.clone(),
        sentence: words.notice(notice, season),
        evidence,
    }
}

fn evidence_of(words: Words, event: &Event, season: &BlockSeason) -> Vec<String> {
    match event {
        Event::StartProvisional | Event::Start => words.start_evidence(season),
        Event::MarkNear(mark, variety) | Event::MarkPassed(mark, variety) => {
            let about = |varieties: &[String]| match variety {
                Some(variety) => varieties.contains(variety),
                None => true,
            };
            let mut lines: Vec<String> = season
                .marks
                .iter()
                .filter(|reading| &reading.mark == mark && about(&reading.varieties))
                .map(|reading| words.mark_evidence(season, reading))
                .collect();
            lines.push(format!("egg-laying start {}", words.start(season)));
            lines.push(words.heat_evidence(season));
            lines
        }
        Event::PastServiceLife(trap, part, _) => season
            .service
            .iter()
            .filter(|due| &due.trap == trap && due.part == *part)
            .map(|due| format!("service life {} days ({})", due.life_days, due.source))
            .collect(),
    }
}
