//! The contents of a grower's key-date alerts, without markup.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::BlockId;
use crate::season::BlockSeason;
use crate::trapping::StartStatus;

use super::decide::{Change, Notice};
use super::digest::{rank, season_of};
use super::event::Event;
use super::gather::gathered;
use super::words::Words;

/// All that one grower is told on one day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alert {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// The one most important line.
    pub headline: String,
    /// How many more key dates there are beside the headline.
    pub more: usize,
    /// The key dates, most important first.
    pub items: Vec<AlertItem>,
}

/// One key date.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
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
    let mut told: Vec<&Notice> = notices
        .iter()
        .filter(|notice| !matches!(notice.change, Change::History(_)))
        .collect();
    told.sort_by_key(|notice| rank(notice));
    let (briefs, items): (Vec<String>, Vec<AlertItem>) = gathered(&told)
        .into_iter()
        .filter_map(|notices| item(words, &notices, seasons, &why))
        .unzip();
    Some(Alert {
        day,
        headline: briefs.into_iter().next()?,
        more: items.len() - 1,
        items,
    })
}

/// A key date, with the line that stands for it in the subject.
fn item(
    words: Words,
    notices: &[&Notice],
    seasons: &[&BlockSeason],
    why: &impl Fn(&Notice) -> Option<String>,
) -> Option<(String, AlertItem)> {
    let first = notices.first()?;
    let season = season_of(seasons, first)?;
    let mut evidence = why(first).map_or_else(Vec::new, |why| vec![why]);
    evidence.extend(evidence_of(words, &first.event, season));
    let sentence = words.told(notices, season);
    let item = AlertItem {
        block: season.block.id.clone(),
        name: season.block.name.clone(),
        sentence: sentence.whole,
        evidence,
    };
    Some((format!("{}: {}", item.name, sentence.brief), item))
}

fn evidence_of(words: Words, event: &Event, season: &BlockSeason) -> Vec<String> {
    match event {
        Event::HangEggTraps => Vec::new(),
        Event::StartProvisional | Event::Start | Event::SecondCandidate => {
            words.start_evidence(season)
        }
        Event::Flight(..) => words.flight_evidence(season).into_iter().collect(),
        Event::MarginTurned(..) => words.harvest_evidence(season),
        Event::MarkNear(mark, variety) | Event::MarkPassed(mark, variety) => {
            let about = |varieties: &[String]| match variety {
                Some(variety) => varieties.contains(variety),
                None => true,
            };
            let mut lines: Vec<String> = season
                .marks
                .iter()
                .filter(|reading| &reading.mark == mark && about(&reading.varieties))
                .map(|reading| words.mark_line(season, reading))
                .collect();
            if variety.is_some() {
                lines.extend(words.hull_split_evidence(season));
            }
            if season.start.status != StartStatus::NotAsked {
                lines.push(format!("egg-laying start {}", words.start(season)));
            }
            lines.push(words.heat_evidence(season));
            lines
        }
        Event::PastServiceLife(trap, part, _) => season
            .service
            .iter()
            .filter(|due| &due.trap == trap && due.part == *part)
            .map(|due| format!("service life {} days ({})", due.life_days, due.source))
            .collect(),
        Event::SentinelCatch(..) => words.disruption_lines(season),
    }
}
