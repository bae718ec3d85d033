//! The round of a day on one route, without markup: where to go, what to do there, what to bring. Its reader answers
//! it, so nothing that stands in it may be taken for a reading when it comes back: the mail
//! puts all of it that may hold a number into brackets, or where no trap's id stands before it.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::TrapId;
use crate::orchard::Orchard;
use crate::season::BlockSeason;
use crate::wording::language::{Language, Speech};

use super::headline::{LONGEST_SUBJECT, capital};
use super::round_sheet::{BlockOnRoute, Change, RoundSheet, Stop, round_sheets};

/// What one person has to do on one day on one route of an adviser's blocks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RoundMail {
    /// The civil day.
    pub day: NaiveDate,
    /// The reader's language.
    pub language: Language,
    /// The route; empty for traps without one.
    pub route: String,
    /// What a subject says.
    pub headline: String,
    /// The route, and how many traps.
    pub title: String,
    /// The day in words.
    pub on: String,
    /// Blocks that nobody may enter.
    pub closed: Vec<String>,
    /// What to bring.
    pub bring: Vec<String>,
    /// Each trap in walking order.
    pub stops: Vec<RoundStop>,
    /// Traps that are not on the list, and why.
    pub down: Vec<String>,
}

impl RoundMail {
    /// Its traps in walking order.
    #[must_use]
    pub fn traps(&self) -> Vec<TrapId> {
        self.stops.iter().map(|stop| stop.trap.clone()).collect()
    }
}

/// A trap to read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RoundStop {
    /// Its id.
    pub trap: TrapId,
    /// The name of its block, where the trap before is in another one.
    pub block: Option<String>,
    /// Where it hangs.
    pub place: String,
    /// Its kind.
    pub kind: String,
    /// Its last reading.
    pub last: Option<String>,
    /// What is to be known of this one.
    pub notes: Vec<String>,
    /// What is to be changed.
    pub changes: Vec<String>,
}

/// The round of a day on a route; `None` where nothing is due on it.
#[must_use]
pub fn round_mail(
    speech: Speech,
    orchard: &Orchard,
    seasons: &[&BlockSeason],
    route: &str,
) -> Option<RoundMail> {
    let sheets = round_sheets(speech, orchard, seasons, 0).into_iter();
    let mut sheets = sheets.filter(|sheet| !sheet.stops.is_empty());
    let sheet = sheets.find(|sheet| sheet.route.as_deref().unwrap_or_default() == route)?;
    let words = speech.round();
    let traps = (words.traps)(sheet.stops.len());
    Some(RoundMail {
        day: sheet.day,
        language: speech.language,
        route: route.to_owned(),
        headline: headline(speech, &sheet, route),
        title: format!("{}: {traps}", speech.route(sheet.route.as_deref())),
        on: capital(&speech.long_day(sheet.day)),
        closed: closed(speech, &sheet.blocks),
        bring: bring(&sheet),
        stops: stops(&sheet),
        down: sheet.down,
    })
}

/// The day, the route as far as there is room for it, and how many traps.
fn headline(speech: Speech, sheet: &RoundSheet, route: &str) -> String {
    let words = speech.round();
    let day = speech.day(sheet.day);
    let traps = (words.traps)(sheet.stops.len());
    let around = [&day, ": ", &(words.mail.round)("x"), ", ", &traps].concat();
    let room = LONGEST_SUBJECT.saturating_sub(around.chars().count() - 1);
    let round = (words.mail.round)(&cut(route, room));
    format!("{day}: {round}, {traps}")
}

/// A name in at most so many characters.
fn cut(name: &str, room: usize) -> String {
    if name.chars().count() <= room {
        return name.to_owned();
    }
    let kept: String = name.chars().take(room.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

fn closed(speech: Speech, blocks: &[BlockOnRoute]) -> Vec<String> {
    let words = &speech.round().mail;
    let line = |block: &BlockOnRoute| {
        let until = speech.day(block.closed_until?);
        let closed = (words.no_entry)(&until, &block.name);
        Some(match block.waiting {
            0 => closed,
            waiting => format!("{closed}; {}", (words.wait)(waiting)),
        })
    };
    blocks.iter().filter_map(line).collect()
}

fn bring(sheet: &RoundSheet) -> Vec<String> {
    let parts = sheet.speech.round().parts;
    let supplies = sheet.bring.iter();
    supplies
        .map(|supply| format!("{} ({})", parts(supply.count, supply.part), supply.product))
        .collect()
}

fn stops(sheet: &RoundSheet) -> Vec<RoundStop> {
    let before = std::iter::once(None).chain(sheet.stops.iter().map(Some));
    let stops = sheet.stops.iter().zip(before);
    stops
        .map(|(stop, before)| {
            let same = before.is_some_and(|before| before.block == stop.block);
            RoundStop {
                trap: stop.trap.clone(),
                block: (!same).then(|| stop.block.clone()),
                place: sheet.speech.place(&stop.place),
                kind: (sheet.speech.round().kind)(stop.kind).to_owned(),
                last: Some(stop.last.clone()).filter(|last| !last.is_empty()),
                notes: stop.unusual.clone(),
                changes: changes(sheet.speech, stop),
            }
        })
        .collect()
}

fn changes(speech: Speech, stop: &Stop) -> Vec<String> {
    let words = speech.round();
    let line = |(part, change): (_, &Change)| {
        let part = (words.todo.change)(speech.language.part(part));
        format!("{part}: {}, {}", change.product, change.why)
    };
    stop.changes().map(line).collect()
}

#[cfg(test)]
mod tests;
