//! The contents of key-date alerts to growers and to people named in rules, without markup.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::BlockId;
use crate::season::{BlockSeason, ByBlock};

use super::key_date::{KeyDate, note};
use super::news::rests_on;
use crate::ledger::CatchUp;
use crate::ledger::Event;
use crate::ledger::Value;
use crate::ledger::rank::rank;
use crate::ledger::{Change, Notice};
use crate::wording::gather::gathered;
use crate::wording::words::Words;

/// All that one person is told on one day of one adviser's blocks.
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
    /// What goes into their calendar.
    pub calendar: Vec<KeyDate>,
    /// The days it makes up for, where mails were left out.
    pub catch_up: Option<CatchUp>,
}

impl Alert {
    /// What the calendar files do, in one sentence; `None` without any.
    #[must_use]
    pub fn calendar_note(&self) -> Option<String> {
        note(&self.calendar)
    }
}

/// One key date.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AlertItem {
    /// The block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// The day or the range that it is about, to stand out; `None` where nothing holds any more.
    pub when: Option<String>,
    /// The notice as a sentence.
    pub sentence: String,
    /// What it rests on.
    pub evidence: Vec<String>,
}

/// Puts together one person's alert; `None` when there is nothing to tell. What happened before
/// the first telling is history and is not alerted. `calendar`: their [`key_dates`](super::key_dates).
/// `why` gives the cause of a change.
#[must_use]
pub fn alert(
    words: Words,
    day: NaiveDate,
    seasons: &[&BlockSeason],
    notices: &[Notice],
    calendar: Vec<KeyDate>,
    why: impl Fn(&Notice) -> Option<String>,
) -> Option<Alert> {
    let mut told: Vec<&Notice> = notices
        .iter()
        .filter(|notice| !matches!(notice.change, Change::History(_)))
        .collect();
    told.sort_by_key(|notice| rank(notice));
    let seasons = ByBlock::of(seasons.iter().copied());
    let (briefs, items): (Vec<String>, Vec<AlertItem>) = gathered(&told)
        .into_iter()
        .filter_map(|notices| item(words, &notices, &seasons, &why))
        .unzip();
    Some(Alert {
        day,
        headline: briefs.into_iter().next()?,
        more: items.len() - 1,
        items,
        calendar,
        catch_up: None,
    })
}

/// A key date, with the line that stands for it in the subject.
fn item(
    words: Words,
    notices: &[&Notice],
    seasons: &ByBlock<'_>,
    why: &impl Fn(&Notice) -> Option<String>,
) -> Option<(String, AlertItem)> {
    let first = notices.first()?;
    let season = seasons.get(&first.block, &first.insect)?;
    let mut evidence = why(first).map_or_else(Vec::new, |why| vec![why]);
    evidence.extend(evidence_of(words, &first.event, season));
    let sentence = words.told(notices, season);
    let item = AlertItem {
        block: season.block.id.clone(),
        name: season.block.name.clone(),
        when: first.change.value().map(|value| match value {
            Value::Range { .. } => format!("projected {}", words.span(value)),
            _ => words.span(value),
        }),
        sentence: sentence.whole,
        evidence,
    };
    Some((format!("{}: {}", item.name, sentence.brief), item))
}

/// What an event rests on; dates also on a station's temperatures.
fn evidence_of(words: Words, event: &Event, season: &BlockSeason) -> Vec<String> {
    let mut lines = rests_on(words, event, season);
    if matches!(event, Event::MarkNear(..) | Event::MarkPassed(..)) {
        lines.push(format!("heat: {}", words.heat_source(season)));
    }
    lines
}
