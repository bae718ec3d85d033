//! The contents of key-date alerts to growers and to people named in rules, without markup.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::BlockId;
use crate::ledger::rank::rank;
use crate::ledger::{CatchUp, Change, Event, Notice, Value};
use crate::season::{BlockSeason, ByBlock};
use crate::wording::gather::{gathered, grouped, name_list};
use crate::wording::sentence::Sentence;
use crate::wording::stations::StationView;
use crate::wording::words::Words;

use super::headline::{Headline, capital};
use super::key_date::{KeyDate, note};

/// All that one person is told on one day of one adviser's blocks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alert {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// What a subject says of the most important of it.
    pub headline: String,
    /// What it tells, most important first.
    pub items: Vec<AlertItem>,
    /// What that rests on, in one line; empty where it says so itself.
    pub rests_on: String,
    /// What goes into their calendar.
    pub calendar: Vec<KeyDate>,
    /// The days it makes up for, where mails were left out.
    pub catch_up: Option<CatchUp>,
}

impl Alert {
    /// What the calendar file does, in one sentence; `None` without any.
    #[must_use]
    pub fn calendar_note(&self) -> Option<String> {
        note(&self.calendar)
    }
}

/// One thing that blocks reach.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AlertItem {
    /// What it is.
    pub title: String,
    /// Each block with its days.
    pub lines: Vec<AlertLine>,
}

/// How blocks stand to it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AlertLine {
    /// Their names: those of which the same is told share a line.
    pub name: String,
    /// The day or the range that it is about; `None` where nothing holds any more.
    pub when: Option<String>,
    /// What is told.
    pub says: String,
}

/// One notice, or several that one sentence tells.
struct Told {
    line: AlertLine,
    sentence: Sentence,
}

/// Puts together one person's alert; `None` when there is nothing to tell. What happened before
/// the first telling is history and is not alerted. `calendar`: their [`key_dates`](super::key_dates).
/// `why` gives the cause of a change.
#[must_use]
pub fn alert(
    words: Words,
    day: NaiveDate,
    (seasons, stations): (&[&BlockSeason], &[StationView]),
    notices: &[Notice],
    calendar: Vec<KeyDate>,
    why: impl Fn(&Notice) -> Option<String>,
) -> Option<Alert> {
    let mut told: Vec<&Notice> = notices
        .iter()
        .filter(|notice| !matches!(notice.change, Change::History(_)))
        .collect();
    // What happened stands before what is told beside it as still ahead.
    let ahead = |notice: &Notice| matches!(notice.change.value(), Some(Value::Range { .. }));
    told.sort_by_key(|notice| (rank(notice), ahead(notice)));
    let by_block = ByBlock::of(seasons.iter().copied());
    let dated = told.iter().filter(|notice| is_dated(&notice.event));
    let dated: Vec<&BlockId> = dated.map(|notice| &notice.block).collect();
    let told: Vec<Told> = gathered(&told)
        .into_iter()
        .filter_map(|notices| one(words, &notices, &by_block, &why))
        .collect();
    let rests_on = words.rests_on(seasons, &dated, stations);
    let things = told.iter().map(|told| told.sentence.about.as_str());
    let more = things.collect::<BTreeSet<&str>>().len().saturating_sub(1);
    let headline = headline(&told)?.words(more);
    let items = grouped(
        told.into_iter()
            .map(|told| (told.sentence.about, told.line)),
    );
    let item = |(about, lines): (String, Vec<AlertLine>)| AlertItem {
        title: capital(&about),
        lines: shared(lines),
    };
    let items: Vec<AlertItem> = items.into_iter().map(item).collect();
    Some(Alert {
        day,
        headline,
        items,
        rests_on,
        calendar,
        catch_up: None,
    })
}

/// Blocks of which the same is told in one line.
fn shared(lines: Vec<AlertLine>) -> Vec<AlertLine> {
    let alike = grouped(
        lines
            .into_iter()
            .map(|line| ((line.when, line.says), line.name)),
    );
    let line = |((when, says), names): (_, Vec<String>)| AlertLine {
        name: name_list(&names),
        when,
        says,
    };
    alike.into_iter().map(line).collect()
}

/// Whether an event's day rests on temperatures and starts.
const fn is_dated(event: &Event) -> bool {
    matches!(
        event,
        Event::Start | Event::MarkNear(_) | Event::MarkNearOfVariety(..) | Event::MarkPassed(_)
    )
}

/// The first thing with all the blocks that reach it, as it holds now.
fn headline(told: &[Told]) -> Option<Headline<'_>> {
    let first = &told.first()?.sentence;
    let alike = told
        .iter()
        .filter(|told| told.sentence.brief == first.brief);
    let when = first.when.clone().unwrap_or_default();
    let (begins, brief) = match first.brief.strip_prefix("corrected: ") {
        Some(brief) => (format!("Now {when}"), brief),
        None => (when, first.brief.as_str()),
    };
    Some(Headline {
        begins,
        brief,
        blocks: alike.map(|told| told.line.name.as_str()).collect(),
    })
}

fn one(
    words: Words,
    notices: &[&Notice],
    seasons: &ByBlock<'_>,
    why: &impl Fn(&Notice) -> Option<String>,
) -> Option<Told> {
    let first = notices.first()?;
    let season = seasons.get(&first.block, &first.insect)?;
    let sentence = words.told(notices, season);
    let cause = why(first).map_or_else(String::new, |why| format!("; {why}"));
    Some(Told {
        line: AlertLine {
            name: season.block.name.clone(),
            when: sentence.when.clone(),
            says: format!("{}{cause}", sentence.says),
        },
        sentence,
    })
}
