//! The sheet that goes along on a round: what to read and change at each stop, and what to bring.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use crate::id::{BlockId, ProductId, TrapId};
use crate::orchard::{Orchard, Part, Place, Trap, TrapKind};
use crate::season::BlockSeason;
use crate::trapping::{DueState, ReadingDue, ServiceDue, without_clock};

use super::walking::{route_key, walking_key};
use crate::wording::language::Speech;

/// A round along one route on one day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RoundSheet {
    /// How it is written.
    pub speech: Speech,
    /// The route; `None` for the traps that have none.
    pub route: Option<String>,
    /// The day it is made.
    pub day: NaiveDate,
    /// The blocks that are entered, after those that are closed.
    pub blocks: Vec<BlockOnRoute>,
    /// The stops in walking order; none is in a closed block.
    pub stops: Vec<Stop>,
    /// What is changed on the way.
    pub bring: Vec<Supply>,
    /// Traps that are down, and since when.
    pub down: Vec<String>,
    /// Parts of which nobody is reminded.
    pub without_clock: Vec<String>,
}

/// A block on the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockOnRoute {
    /// The block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// The day before which nobody may enter.
    pub closed_until: Option<NaiveDate>,
    /// How many traps wait until then.
    pub waiting: usize,
    /// What is to be known before entering.
    pub entry: String,
}

/// One trap to go to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    /// The trap.
    pub trap: TrapId,
    /// Its kind.
    pub kind: TrapKind,
    /// The name of its block.
    pub block: String,
    /// Where it hangs.
    pub place: Place,
    /// What is to be said of the reading.
    pub reading: String,
    /// What of it is not as at any other stop.
    pub unusual: Vec<String>,
    /// The last reading with its day; empty where there was none.
    pub last: String,
    /// The counts it may have, by their columns in the visits sheet; the usual one first.
    pub counts: &'static [&'static str],
    /// Its parts, in the order people service them.
    pub parts: Vec<StopPart>,
}

impl Stop {
    /// The parts to change, with their products.
    pub fn changes(&self) -> impl Iterator<Item = (Part, &Change)> {
        let parts = self.parts.iter();
        parts.filter_map(|part| Some((part.part, part.change.as_ref()?)))
    }

    /// All that is to be done here, in one line.
    #[must_use]
    pub fn todo(&self, speech: Speech) -> String {
        let words = speech.round();
        let changes = self.changes().map(|(part, change)| {
            let change_part = (words.todo.change)(speech.language.part(part));
            format!("{change_part} ({}; {})", change.product, change.why)
        });
        let all: Vec<String> = std::iter::once(self.reading.clone())
            .chain(changes)
            .collect();
        all.join("; ")
    }
}

/// A part of a trap on the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StopPart {
    /// The part.
    pub part: Part,
    /// What to put in and why, where it is to be changed.
    pub change: Option<Change>,
}

/// A part to change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// The product.
    pub product: ProductId,
    /// Until when the one in it serves.
    pub why: String,
}

/// So many of one product.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supply {
    /// Which part it is.
    pub part: Part,
    /// The product.
    pub product: ProductId,
    /// How many.
    pub count: usize,
}

/// The counts a trap of a kind may have, by their columns in the visits sheet: what is counted in the
/// field first, the sexes where somebody tells them apart after it.
const fn counts_of(kind: TrapKind) -> &'static [&'static str] {
    match kind {
        TrapKind::Egg => &["eggs"],
        TrapKind::Pheromone => &["males"],
        TrapKind::PheromonePpo | TrapKind::BaitBag => &["moths", "males", "females"],
    }
}

/// The sheets of a day, by route, those without one last. Readings that fall due within `days` more
/// are on them too. At a stop everything is changed whose life ends before the trap is read again;
/// common practice, no source.
#[must_use]
pub fn round_sheets(
    speech: Speech,
    orchard: &Orchard,
    seasons: &[&BlockSeason],
    days: u64,
) -> Vec<RoundSheet> {
    let all: Vec<OnRoute<'_>> = seasons
        .iter()
        .enumerate()
        .flat_map(|(place, season)| {
            let traps = orchard.traps_of(&season.block.id);
            traps.map(move |trap| OnRoute::new(season, place, trap))
        })
        .filter(OnRoute::is_there)
        .collect();
    let mut routes: Vec<Option<&str>> = all.iter().map(OnRoute::route).collect();
    routes.sort_by(|a, b| route_key(*a).cmp(&route_key(*b)));
    routes.dedup();
    routes
        .into_iter()
        .map(|route| {
            let on_it = all.iter().filter(|trap| trap.route() == route);
            sheet(speech, route, on_it.collect(), days)
        })
        .collect()
}

/// A trap that hangs or is down, with what is due at it.
struct OnRoute<'a> {
    season: &'a BlockSeason,
    block_place: usize,
    trap: &'a Trap,
    reading: Option<&'a ReadingDue>,
    service: Vec<&'a ServiceDue>,
}

impl<'a> OnRoute<'a> {
    fn new(season: &'a BlockSeason, block_place: usize, trap: &'a Trap) -> Self {
        let service = season.work.service.iter().filter(|due| due.trap == trap.id);
        Self {
            season,
            block_place,
            trap,
            reading: season.work.readings.iter().find(|due| due.trap == trap.id),
            service: service.collect(),
        }
    }

    fn route(&self) -> Option<&'a str> {
        let route = self.trap.place.route.as_str();
        (!route.is_empty()).then_some(route)
    }

    fn is_there(&self) -> bool {
        self.reading.is_some() || self.down_since().is_some()
    }

    fn down_since(&self) -> Option<NaiveDate> {
        self.trap.down_since(self.season.as_of)
    }

    /// What is to be done here on the way, when anything falls due within so many days.
    fn stop(&self, speech: Speech, days: u64) -> Option<Stop> {
        let reading = self.reading?;
        let horizon = later(self.season.as_of, days);
        let reads = reading.due <= horizon;
        let serves = self.service.iter().any(|due| due.due <= horizon);
        let next = later(self.season.as_of, reading.every_days);
        let trap = self.trap;
        (reads || serves).then(|| Stop {
            trap: trap.id.clone(),
            kind: trap.kind,
            block: self.season.block.name.clone(),
            place: trap.place.clone(),
            reading: self.reading_words(speech, reading, reads),
            unusual: self.unusual(speech, reading, reads),
            last: last_words(speech, reading),
            counts: counts_of(trap.kind),
            parts: trap
                .kind
                .parts()
                .iter()
                .map(|&part| self.part(speech, part, |due| due <= horizon || due < next))
                .collect(),
        })
    }

    fn reading_words(&self, speech: Speech, reading: &ReadingDue, reads: bool) -> String {
        let (due, words) = (speech.day(reading.due), &speech.round().todo);
        let when = match self.season.reading_state(reading) {
            // A part that is changed without a count takes the catch with it.
            _ if !reads => words.count_before.to_owned(),
            DueState::Optional => words.optional.to_owned(),
            DueState::Overdue => (words.due_since)(&due),
            DueState::Today => words.due.to_owned(),
            _ => (words.due_on)(&due),
        };
        match reading.eggs_left {
            0 => when,
            eggs => format!("{when}; {}", (words.eggs_left)(eggs)),
        }
    }

    fn unusual(&self, speech: Speech, reading: &ReadingDue, reads: bool) -> Vec<String> {
        let words = &speech.round().todo;
        let when = match self.season.reading_state(reading) {
            _ if !reads => Some(words.count_before.to_owned()),
            DueState::Optional => Some(words.optional.to_owned()),
            _ => None,
        };
        let eggs = (reading.eggs_left > 0).then(|| (words.eggs_left)(reading.eggs_left));
        when.into_iter().chain(eggs).collect()
    }

    fn part(&self, speech: Speech, part: Part, ends: impl Fn(NaiveDate) -> bool) -> StopPart {
        let due = self.service.iter().find(|due| due.part == part);
        StopPart {
            part,
            change: due.filter(|due| ends(due.due)).map(|due| Change {
                product: due.product.clone(),
                why: life_words(speech, due, self.season.as_of),
            }),
        }
    }
}

fn later(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(Days::new(days)).unwrap_or(day)
}

/// The last reading with its day; empty where there was none.
fn last_words(speech: Speech, reading: &ReadingDue) -> String {
    let words = &speech.round().mail;
    let Some(day) = reading.last.map(|day| speech.day(day)) else {
        return String::new();
    };
    match reading.last_count {
        Some(count) => (words.last)(count, &day),
        None => (words.last_unreadable)(&day),
    }
}

fn life_words(speech: Speech, due: &ServiceDue, day: NaiveDate) -> String {
    let (end, words) = (speech.day(due.due), &speech.round().todo);
    match due.due < day {
        true => (words.life_ended)(&end),
        false => (words.lasts_until)(&end),
    }
}

fn sheet(
    speech: Speech,
    route: Option<&str>,
    mut traps: Vec<&OnRoute<'_>>,
    days: u64,
) -> RoundSheet {
    traps.sort_by(|a, b| {
        walking_key(a.trap, a.block_place).cmp(&walking_key(b.trap, b.block_place))
    });
    let open = traps
        .iter()
        .filter(|t| t.season.work.closed_until.is_none());
    let stops: Vec<Stop> = open.filter_map(|trap| trap.stop(speech, days)).collect();
    RoundSheet {
        speech,
        route: route.map(str::to_owned),
        // A route has at least one trap, and that trap a season.
        day: traps.first().map_or(NaiveDate::MIN, |t| t.season.as_of),
        blocks: blocks(speech, &traps, days),
        bring: bring(&stops),
        down: down(speech, &traps),
        without_clock: unclocked(speech, &traps),
        stops,
    }
}

/// The blocks on the way: closed ones stand at the head, then those with a stop in the order of the file.
fn blocks(speech: Speech, traps: &[&OnRoute<'_>], days: u64) -> Vec<BlockOnRoute> {
    let mut places: BTreeMap<(bool, usize), Vec<&OnRoute<'_>>> = BTreeMap::new();
    for trap in traps {
        let is_open = trap.season.work.closed_until.is_none();
        if is_open && trap.stop(speech, days).is_none() {
            continue;
        }
        let of_block = places.entry((is_open, trap.block_place));
        of_block.or_default().push(trap);
    }
    places
        .into_values()
        .map(|traps| {
            let season = traps[0].season;
            let closed_until = season.work.closed_until;
            let waiting = traps.iter().filter(|t| t.stop(speech, days).is_some());
            let waiting: Vec<&TrapId> = waiting.map(|t| &t.trap.id).collect();
            BlockOnRoute {
                block: season.block.id.clone(),
                name: season.block.name.clone(),
                closed_until,
                waiting: closed_until.map_or(0, |_| waiting.len()),
                entry: match closed_until {
                    Some(until) => closed_words(speech, until, &waiting),
                    None => speech.round().todo.check_posting.to_owned(),
                },
            }
        })
        .collect()
}

fn closed_words(speech: Speech, until: NaiveDate, waiting: &[&TrapId]) -> String {
    let words = &speech.round().todo;
    let closed = (words.no_entry)(&speech.day(until));
    match waiting {
        [] => closed,
        traps => format!("{closed}; {}", (words.waiting)(&speech.traps(traps))),
    }
}

fn bring(stops: &[Stop]) -> Vec<Supply> {
    let mut counts: BTreeMap<(Part, ProductId), usize> = BTreeMap::new();
    for (part, change) in stops.iter().flat_map(Stop::changes) {
        *counts.entry((part, change.product.clone())).or_default() += 1;
    }
    let supplies = counts.into_iter();
    supplies
        .map(|((part, product), count)| Supply {
            part,
            product,
            count,
        })
        .collect()
}

/// Traps that are down, by the day.
fn down(speech: Speech, traps: &[&OnRoute<'_>]) -> Vec<String> {
    let mut days: BTreeMap<NaiveDate, Vec<&TrapId>> = BTreeMap::new();
    for trap in traps {
        if let Some(since) = trap.down_since() {
            days.entry(since).or_default().push(&trap.trap.id);
        }
    }
    let down = speech.round().todo.down;
    let days = days.into_iter();
    days.map(|(since, ids)| down(&speech.day(since), &speech.traps(&ids)))
        .collect()
}

/// Parts that have no clock.
fn unclocked(speech: Speech, traps: &[&OnRoute<'_>]) -> Vec<String> {
    let words = speech.round();
    let in_use = || traps.iter().filter(|trap| trap.reading.is_some());
    let parts: BTreeSet<Part> = in_use().flat_map(|t| without_clock(t.trap)).collect();
    let line = |part: Part| {
        let without = in_use().filter(|t| without_clock(t.trap).contains(&part));
        let ids: Vec<&TrapId> = without.map(|t| &t.trap.id).collect();
        (words.todo.no_clock)(speech.language.part(part), &speech.traps(&ids))
    };
    parts.into_iter().map(line).collect()
}

#[cfg(test)]
mod tests;
