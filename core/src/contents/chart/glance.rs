//! The season at a glance: one row a block, weeks across, so that blocks can be set beside each other.

mod key;
mod row;
mod sentences;

use chrono::{Datelike, Days, NaiveDate, Weekday};
use serde::{Deserialize, Serialize};

use crate::id::BlockId;
use crate::season::BlockSeason;
use crate::wording::Words;

use super::axis::{day_ticks, days_after};
use super::{DayTick, Frame};
use row::Letters;

/// A phone shows so many rows that can still be read.
const MOST_ROWS: usize = 40;
/// The field begins with the week of so many days before the first thing it shows.
const BEFORE_DAYS: u64 = 7;
/// It goes on for so many days after the last thing, and after today at least so many.
const MARGIN_DAYS: u64 = 10;
const AHEAD_DAYS: u64 = 28;
/// An open range goes on for so many days after its middle, so that it leaves room for what is known.
const OPEN_DAYS: u64 = 21;
/// A shorter stretch would pull a few signs apart.
const SHORTEST_DAYS: u64 = 84;

/// Seasons of blocks beneath each other.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GlanceChart {
    /// What surrounds it; in the place of a block's name stands a title.
    pub frame: Frame,
    /// The Mondays.
    pub weeks: Vec<NaiveDate>,
    /// Today.
    pub today: DayTick,
    /// One for each block, in the order of the seasons.
    pub rows: Vec<GlanceRow>,
    /// What the signs mean that occur, those that belong together in one group.
    pub key: Vec<Vec<KeyEntry>>,
}

/// One block.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GlanceRow {
    /// Its id; `None` in charts stored before rows had one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<BlockId>,
    /// Its name.
    pub block: String,
    /// What stands in a row that has nothing else to show.
    pub note: Option<String>,
    /// Dated things, those of a kind in the order of their days.
    pub signs: Vec<Sign>,
    /// The flights that traps showed, oldest first.
    pub flights: Vec<FlightHill>,
}

/// Something with a day, and the days within which it falls where that is not one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sign {
    /// What it is.
    pub kind: SignKind,
    /// How well it is known.
    pub state: SignState,
    /// The number of a generation, or the letter of another mark.
    pub label: Option<String>,
    /// The first of its days.
    pub early: NaiveDate,
    /// Its day, or the middle.
    pub middle: NaiveDate,
    /// The last; the end of the year stands for an open end.
    pub late: NaiveDate,
}

/// What signs stand for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignKind {
    /// The egg-laying start.
    Start,
    /// A mark: mostly the egg laying of a generation.
    Mark,
    /// The block's first hull split.
    Split,
    /// The shake of a variety.
    Shake,
}

/// How well something is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignState {
    /// Confirmed, computed as passed, seen or done.
    Known,
    /// Projected or expected.
    Ahead,
    /// It is the provisional start, or rests on it.
    Provisional,
}

/// A flight, by the days of the readings that show it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FlightHill {
    /// Its start, or the first day on which it was seen.
    pub from: NaiveDate,
    /// Whether that is its start.
    pub started: bool,
    /// The highest reading so far.
    pub highest: NaiveDate,
    /// Whether that may be told as the peak.
    pub peaked: bool,
    /// Its end, or the last day on which it was seen.
    pub to: NaiveDate,
    /// Whether that is its end.
    pub ended: bool,
}

/// A sign or another sample, and what it means.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyEntry {
    /// What stands before the words.
    pub sample: KeySample,
    /// The words.
    pub label: String,
}

/// What is explained.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum KeySample {
    /// A sign, with its label.
    Sign(SignKind, SignState, Option<String>),
    /// The letter of a mark.
    Letter(String),
    /// The days within which something falls.
    Days,
    /// A flight.
    Flight,
}

impl Sign {
    /// Whether it is a mark that is not passed: its days are one bar.
    #[must_use]
    pub fn is_bar(&self) -> bool {
        let ahead = match self.state {
            SignState::Known => false,
            SignState::Ahead => true,
            SignState::Provisional => self.early < self.late,
        };
        ahead && self.kind == SignKind::Mark
    }
}

/// Seasons of blocks at a glance, at most forty; `None` where no block has anything to show. With `only_firm`
/// it holds nothing that growers are not told: no provisional start, and nothing that rests on one or on an
/// estimated day.
#[must_use]
pub fn glance_chart(
    words: Words,
    seasons: &[&BlockSeason],
    day: NaiveDate,
    only_firm: bool,
) -> Option<GlanceChart> {
    let drawn = &seasons[..seasons.len().min(MOST_ROWS)];
    let letters = Letters::of(drawn);
    let rows: Vec<GlanceRow> = drawn
        .iter()
        .map(|season| row::row(season, &letters, only_firm))
        .collect();
    let [first, last] = stretch(&rows, day)?;
    Some(GlanceChart {
        frame: Frame {
            block: "Season at a glance".to_owned(),
            subtitle: sentences::subtitle(words, day, rows.len()),
            alt: sentences::alt(words, drawn, day, only_firm),
            caption: sentences::caption(seasons.len() - drawn.len()),
            first,
            last,
            days: day_ticks(words, first, last),
        },
        weeks: mondays(first, last),
        today: DayTick {
            day,
            label: format!("today, {}", words.day(day)),
        },
        key: key::key(&rows, &letters),
        rows,
    })
}

/// The first and the last day drawn; `None` where rows show nothing.
fn stretch(rows: &[GlanceRow], today: NaiveDate) -> Option<[NaiveDate; 2]> {
    let signs = rows.iter().flat_map(|row| &row.signs);
    let signs = signs.map(|sign| [sign.early, shown_end(sign)]);
    let flights = rows.iter().flat_map(|row| &row.flights);
    let shown: Vec<[NaiveDate; 2]> = flights
        .map(|flight| [flight.from, flight.to])
        .chain(signs)
        .collect();
    let first = shown.iter().map(|[from, _]| *from).min()?.min(today);
    let last = shown.iter().map(|[_, to]| *to).max()?;
    let first = (first - Days::new(BEFORE_DAYS))
        .week(Weekday::Mon)
        .first_day();
    let last = days_after(last, MARGIN_DAYS).max(days_after(today, AHEAD_DAYS));
    let last = last.max(days_after(first, SHORTEST_DAYS));
    let year_end = NaiveDate::from_ymd_opt(today.year(), 12, 31).unwrap_or(last);
    Some([first, last.min(year_end)])
}

fn shown_end(sign: &Sign) -> NaiveDate {
    match (sign.late.month(), sign.late.day()) {
        (12, 31) => days_after(sign.middle, OPEN_DAYS).min(sign.late),
        _ => sign.late,
    }
}

fn mondays(first: NaiveDate, last: NaiveDate) -> Vec<NaiveDate> {
    let days = first.iter_days().take_while(|day| *day <= last);
    days.filter(|day| day.weekday() == Weekday::Mon).collect()
}

#[cfg(test)]
mod tests;
