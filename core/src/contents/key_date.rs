//! Key dates as entries of one person's calendar: put in, moved and taken out as they are told.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::{BlockId, InsectId, MarkId, PersonId};
use crate::season::{BlockSeason, ByBlock, MarkReading};
use crate::trapping::StartStatus;

use crate::ledger::Event;
use crate::ledger::Value;
use crate::ledger::{Change, Notice, Told};
use crate::wording::gather::grouped;
use crate::wording::sentence::{subject_of, told_reading};
use crate::wording::words::Words;

/// What one entry of one person's calendar is about. It stays the same all season.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct CalendarEntry {
    /// Whose calendar.
    pub person: PersonId,
    /// The year of the season.
    pub year: i32,
    /// The block.
    pub block: BlockId,
    /// The insect.
    pub insect: InsectId,
    /// The mark.
    pub mark: MarkId,
    /// The variety, in entries of the time when marks were told by variety.
    pub variety: Option<String>,
}

/// What an entry says of its mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DateState {
    /// The mark is ahead: the range in which it is projected.
    Projected,
    /// The mark was passed: the day, computed and not observed.
    Passed,
    /// What was told holds no more: the entry is to be taken out.
    Withdrawn,
}

/// An entry as its person is told it today.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyDate {
    /// What it is about.
    pub entry: CalendarEntry,
    /// What it says of the mark.
    pub standing: DateState,
    /// What a calendar shows of it.
    pub title: String,
    /// Its first day.
    pub first: NaiveDate,
    /// Its last day.
    pub last: NaiveDate,
    /// What stands behind the title, line by line.
    pub lines: Vec<String>,
    /// Rises each time that the person is told anew.
    pub sequence: u32,
}

/// The entries that one person's notices put into the calendar, move or take out. Only marks have any, and
/// only once they were told as near: what is first told as passed is no date to plan by. An entry that
/// was taken out comes back when its mark is told as near again.
#[must_use]
pub fn key_dates<'a>(
    words: Words,
    person: &PersonId,
    seasons: &[&BlockSeason],
    notices: &[Notice],
    told: impl IntoIterator<Item = &'a Told>,
) -> Vec<KeyDate> {
    let seasons = ByBlock::of(seasons.iter().copied());
    let told = Before::of(told);
    let entries = notices
        .iter()
        .filter_map(|notice| Some((entry_of(person, notice)?, notice)));
    let entries = grouped(entries);
    let told_now: BTreeSet<CalendarEntry> =
        entries.iter().map(|(entry, _)| entry.clone()).collect();
    let of_entry = |(entry, notices): (CalendarEntry, Vec<&Notice>)| {
        let Some(season) = seasons.get(&entry.block, &entry.insect) else {
            return Vec::new();
        };
        let mut dates = told.by_variety(&entry, season);
        dates.retain(|date| !told_now.contains(&date.entry));
        dates.extend(key_date(words, entry, &notices, &told, season));
        dates
    };
    entries.into_iter().flat_map(of_entry).collect()
}

fn entry_of(person: &PersonId, notice: &Notice) -> Option<CalendarEntry> {
    let (mark, variety) = match &notice.event {
        Event::MarkNear(mark) | Event::MarkPassed(mark) => (mark, None),
        Event::MarkNearOfVariety(mark, variety) => (mark, Some(variety.clone())),
        _ => return None,
    };
    Some(CalendarEntry {
        person: person.clone(),
        year: notice.year,
        block: notice.block.clone(),
        insect: notice.insect.clone(),
        mark: mark.clone(),
        variety,
    })
}

/// An entry from the notices about it, at least one.
fn key_date(
    words: Words,
    entry: CalendarEntry,
    notices: &[&Notice],
    told: &Before<'_>,
    season: &BlockSeason,
) -> Option<KeyDate> {
    let sequence = sequence(&entry, notices, told)?;
    let live = notices.iter().find(|n| n.change.value().is_some());
    // Of two withdrawals the last one is of what was told last.
    let notice = live.or(notices.last())?;
    let (standing, first, last) = stretch(notice, season)?;
    let what = subject_of(&notice.event, season);
    let block = &season.block.name;
    let title = title(standing, &what, block);
    let sentence = words.told(&[notice], season).whole();
    let mut lines = vec![format!("{block}: {sentence}.")];
    lines.extend(behind(words, standing, season));
    Some(KeyDate {
        entry,
        standing,
        title,
        first,
        last,
        lines,
        sequence,
    })
}

/// What a person was told before, by what it is of.
struct Before<'a>(BTreeMap<(i32, &'a BlockId, &'a InsectId, &'a str), &'a Told>);

impl<'a> Before<'a> {
    fn of(told: impl IntoIterator<Item = &'a Told>) -> Self {
        let key = |told: &'a Told| (told.year, &told.block, &told.insect, told.event.as_str());
        Self(told.into_iter().map(|told| (key(told), told)).collect())
    }

    /// What was told of an event of an entry's block.
    fn of_event(&self, entry: &CalendarEntry, event: &Event) -> Option<&'a Told> {
        let event = event.to_string();
        let key = (entry.year, &entry.block, &entry.insect, event.as_str());
        self.0.get(&key).copied()
    }

    /// Takes the entries out that stand for varieties, where the mark's own entry takes their place: what was
    /// told of it last was told of one variety.
    fn by_variety(&self, entry: &CalendarEntry, season: &BlockSeason) -> Vec<KeyDate> {
        let near = Event::MarkNear(entry.mark.clone());
        let carried = self
            .of_event(entry, &near)
            .is_some_and(|told| told.of_variety);
        if !carried || entry.variety.is_some() {
            return Vec::new();
        }
        let prefix = format!("{near}:");
        let from = (entry.year, &entry.block, &entry.insect, prefix.as_str());
        let onward = self.0.range(from..);
        let stand = onward.map_while(|(key, told)| {
            let variety = key.3.strip_prefix(&prefix)?;
            let same = (key.0, key.1, key.2) == (from.0, from.1, from.2);
            same.then_some((variety, *told))
        });
        stand
            .filter_map(|(variety, told)| {
                let passed = Event::MarkPassed(entry.mark.clone());
                let passed = format!("{passed}:{variety}");
                let key = (entry.year, &entry.block, &entry.insect, passed.as_str());
                let passed = self.0.get(&key).map_or(0, |told| told.revision);
                let date = taken_out(entry, variety, told.value?, season)?;
                let sequence = told.revision + passed;
                Some(KeyDate { sequence, ..date })
            })
            .collect()
    }
}

/// An entry of a variety as it goes out of the calendar; `None` where it stands in none.
fn taken_out(
    entry: &CalendarEntry,
    variety: &str,
    told: Value,
    season: &BlockSeason,
) -> Option<KeyDate> {
    let (first, last) = match told {
        Value::Range { early, late, .. } => (early, late),
        Value::Day(day) | Value::Within { day, .. } => (day, day),
        Value::Caught { .. } | Value::First(_) => return None,
    };
    let what = subject_of(&Event::MarkNear(entry.mark.clone()), season);
    let block = &season.block.name;
    Some(KeyDate {
        entry: CalendarEntry {
            variety: Some(variety.to_owned()),
            ..entry.clone()
        },
        standing: DateState::Withdrawn,
        title: format!("Withdrawn: {what} ({variety}), {block}"),
        first,
        last,
        lines: vec!["This entry no longer holds: the date is the whole block's now.".to_owned()],
        sequence: 0,
    })
}

/// How often the person was told of the mark before, as near or as passed: each telling has the next
/// revision of its event. `None` when the calendar has no such entry and gets none now.
fn sequence(entry: &CalendarEntry, notices: &[&Notice], told: &Before<'_>) -> Option<u32> {
    let near = match &entry.variety {
        Some(variety) => Event::MarkNearOfVariety(entry.mark.clone(), variety.clone()),
        None => Event::MarkNear(entry.mark.clone()),
    };
    let passed = Event::MarkPassed(entry.mark.clone());
    let now = |event: &Event| notices.iter().find(|notice| notice.event == *event);
    let before = |event: &Event| told.of_event(entry, event);
    let put_in = now(&near).and_then(|notice| notice.change.value());
    let stands = before(&near).and_then(|told| told.value);
    put_in.or(stands)?;
    let revision = |event: &Event| match (now(event), before(event)) {
        (Some(notice), _) => notice.revision,
        (None, Some(told)) => told.revision,
        (None, None) => 0,
    };
    Some((revision(&near) + revision(&passed)).saturating_sub(1))
}

/// The days of an entry. A mark told as passed that is ahead again has its range.
fn stretch(notice: &Notice, season: &BlockSeason) -> Option<(DateState, NaiveDate, NaiveDate)> {
    let days = |value| match value {
        Value::Range { early, late, .. } => Some((DateState::Projected, early, late)),
        Value::Day(day) | Value::Within { day, .. } => Some((DateState::Passed, day, day)),
        Value::Caught { .. } | Value::First(_) => None,
    };
    if let Change::Withdrawn { was, .. } = &notice.change {
        let (_, first, last) = days(*was)?;
        return Some((DateState::Withdrawn, first, last));
    }
    let ahead = reading(&notice.event, season).and_then(|reading| reading.outcome.projection());
    days(ahead.map(Value::from).or(notice.change.value())?)
}

fn reading<'a>(event: &Event, season: &'a BlockSeason) -> Option<&'a MarkReading> {
    match event {
        Event::MarkNear(mark) | Event::MarkPassed(mark) => told_reading(season, mark),
        _ => None,
    }
}

/// What a calendar shows of an entry.
pub(super) fn title(standing: DateState, what: &str, block: &str) -> String {
    match standing {
        DateState::Projected => format!("Projected: {what}, {block}"),
        DateState::Passed => format!("Computed: mark passed, {what}, {block}"),
        DateState::Withdrawn => format!("Withdrawn: {what}, {block}"),
    }
}

/// What kind of date an entry is.
pub(super) const fn kind_of_date(standing: DateState) -> &'static str {
    match standing {
        DateState::Projected => {
            "A projection, not an observation: it moves, and the file of a later mail moves this entry."
        }
        DateState::Passed => "Computed from temperatures, not observed.",
        DateState::Withdrawn => "This entry no longer holds.",
    }
}

/// What kind of date it is, and what it rests on.
fn behind(words: Words, standing: DateState, season: &BlockSeason) -> Vec<String> {
    let kind = kind_of_date(standing);
    if standing == DateState::Withdrawn {
        return vec![kind.to_owned()];
    }
    let start = (season.start.status != StartStatus::NotAsked)
        .then(|| format!("egg-laying start {}; ", words.start(season)));
    let (start, heat) = (start.unwrap_or_default(), words.heat_evidence(season));
    vec![kind.to_owned(), format!("It rests on: {start}{heat}.")]
}

/// What the file that comes with a mail does to a calendar, in one sentence; `None` without any.
#[must_use]
pub(crate) fn note(dates: &[KeyDate]) -> Option<String> {
    let any = |standing| dates.iter().any(|date| date.standing == standing);
    let what = match dates {
        [] => return None,
        [_] => "this entry",
        _ => "these entries",
    };
    let gone = any(DateState::Withdrawn)
        && dates
            .iter()
            .all(|date| date.standing == DateState::Withdrawn);
    Some(match gone {
        true => format!("The attached calendar file takes {what} out of your calendar."),
        false if any(DateState::Withdrawn) => {
            format!("The attached calendar file puts in, moves or takes out {what}.")
        }
        false => format!(
            "The attached calendar file puts {what} into your calendar, or moves what is there."
        ),
    })
}

#[cfg(test)]
mod tests;
