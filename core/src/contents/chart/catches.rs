//! Catches of moths through a season, one panel for each kind of trap: kinds catch so differently that
//! one scale would compare what cannot be compared.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::orchard::{Orchard, Regime, TrapKind};
use crate::season::BlockSeason;
use crate::trapping::{Caught, Flight, FlightDay, Peak, Round, Visits, caught};
use crate::wording::Words;
use crate::wording::moth_flights::flight_name;
use crate::wording::words::rate_words;

use super::axis::{day_ticks, days_after, value_axis};
use super::{Frame, ValueAxis};

/// Readings further apart than this, with nights between that nothing is known of, are not joined by a
/// line. Common practice, no source: traps are read by the week.
const JOINED_DAYS: i64 = 7;
/// Fewer days than this would stretch a few readings over the whole width.
const SHORTEST_DAYS: u64 = 28;

/// A chart that ends with its readings goes on for so many days.
const AFTER_LAST_DAYS: u64 = 7;

/// Catches per trap per night.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CatchChart {
    /// What surrounds it.
    pub frame: Frame,
    /// One for each kind of trap that was read.
    pub panels: Vec<Panel>,
    /// What a hollow sign means, where there is one.
    pub hollow_label: Option<String>,
}

/// The catches of one kind of trap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Panel {
    /// The kind of trap.
    pub kind: TrapKind,
    /// The traps and what was counted.
    pub title: String,
    /// The axis of catches.
    pub rates: ValueAxis,
    /// Its readings, oldest first.
    pub readings: Vec<ReadingPoint>,
    /// The flights read from them, oldest first.
    pub flights: Vec<FlightSpan>,
}

/// One round of readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ReadingPoint {
    /// The day of the last reading of the round.
    pub day: NaiveDate,
    /// Catch per trap per night; `None` where nothing counts, since traps were past a service life.
    pub rate: Option<f64>,
    /// Whether it follows the reading before without a longer gap.
    pub joined: bool,
    /// Whether it says less than others: most traps were past a service life, or fewer than half read.
    pub hollow: bool,
}

/// A flight, by the days of the readings that show it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FlightSpan {
    /// The start, where it can be told.
    pub start: Option<NaiveDate>,
    /// The highest reading so far.
    pub highest: NaiveDate,
    /// Whether that may be told as the peak.
    pub peaked: bool,
    /// The end, where it can be told.
    pub end: Option<NaiveDate>,
    /// All three in words.
    pub label: String,
}

impl CatchChart {
    /// The same to some days after the last reading, for a season that is over.
    #[must_use]
    pub fn to_last_reading(mut self) -> Self {
        let readings = self.panels.iter().flat_map(|panel| &panel.readings);
        let last = readings.map(|reading| reading.day).max();
        let last = last.map(|day| days_after(day, AFTER_LAST_DAYS).min(self.frame.last));
        if let Some(last) = last {
            let shortest = days_after(self.frame.first, SHORTEST_DAYS);
            self.frame.last = last.max(shortest);
            self.frame.days.retain(|tick| tick.day <= self.frame.last);
        }
        self
    }
}

/// The catches of a block's moth traps this year; `None` where none was read.
#[must_use]
pub fn catch_chart(
    words: Words,
    season: &BlockSeason,
    orchard: &Orchard,
    visits: &Visits,
) -> Option<CatchChart> {
    let kinds = caught(
        orchard,
        &season.block,
        visits,
        &season.work.lapses,
        season.as_of,
    );
    let rounds = || kinds.iter().flat_map(|caught| &caught.rounds);
    let first = rounds().map(|round| round.by).min()?;
    let last = season.as_of.max(days_after(first, SHORTEST_DAYS));
    let panels: Vec<Panel> = kinds
        .iter()
        .map(|caught| panel(words, season, caught))
        .collect();
    let marked = |sign: fn(&Round) -> bool| rounds().any(sign);
    Some(CatchChart {
        frame: Frame {
            block: season.block.name.clone(),
            subtitle: format!("moths per trap per night, to {}", words.day(season.as_of)),
            alt: alt(words, season, &kinds, &panels),
            caption: "Catches by reading, each kind of trap on its own scale".to_owned(),
            first,
            last,
            days: day_ticks(words, first, last),
        },
        hollow_label: hollow_label(
            marked(|round| round.mostly_past_life),
            marked(is_poorly_read),
        ),
        panels,
    })
}

fn is_poorly_read(round: &Round) -> bool {
    round.trap_nights > 0 && !round.counts()
}

fn hollow_label(past_life: bool, poorly_read: bool) -> Option<String> {
    let why = match (past_life, poorly_read) {
        (false, false) => return None,
        (true, false) => "past a service life",
        (false, true) => "fewer than half of the traps read",
        (true, true) => "past a service life, or fewer than half read",
    };
    Some(format!("hollow: {why}"))
}

fn panel(words: Words, season: &BlockSeason, caught: &Caught) -> Panel {
    let readings = readings(&caught.rounds);
    let rates = readings.iter().filter_map(|reading| reading.rate);
    let flights = season.flights.as_ref().ok();
    let flights = flights.filter(|flights| flights.kind == caught.kind);
    let flights = flights.map_or(&[][..], |flights| &flights.flights);
    Panel {
        kind: caught.kind,
        title: title(season, caught),
        // A lone zero needs an axis too.
        rates: value_axis(rates.fold(0.5, f64::max)),
        flights: flights
            .iter()
            .map(|flight| span(words, season, flight))
            .collect(),
        readings,
    }
}

fn title(season: &BlockSeason, caught: &Caught) -> String {
    let counted = caught.counted.words(2);
    let kind = caught.kind.name();
    let sentinel =
        season.block.regime == Regime::MatingDisruption && caught.kind == TrapKind::Pheromone;
    match sentinel {
        true => format!("{kind} traps, sentinels: {counted}"),
        false => format!("{kind} traps: {counted}"),
    }
}

fn readings(rounds: &[Round]) -> Vec<ReadingPoint> {
    let mut before: Option<NaiveDate> = None;
    let points = rounds.iter().map(|round| {
        let joined = before.is_some_and(|by| (round.after - by).num_days() <= JOINED_DAYS);
        before = Some(round.by);
        ReadingPoint {
            day: round.by,
            rate: (round.trap_nights > 0).then(|| (round.per_trap_night() * 100.0).round() / 100.0),
            joined,
            hollow: round.mostly_past_life || is_poorly_read(round),
        }
    });
    points.collect()
}

fn span(words: Words, season: &BlockSeason, flight: &Flight) -> FlightSpan {
    let day = |day: &FlightDay| day.round().map(|round| round.by);
    FlightSpan {
        start: day(&flight.start),
        highest: flight.highest.by,
        peaked: flight.peak_round().is_some(),
        end: day(&flight.end),
        label: flight_label(words, season, flight),
    }
}

fn flight_label(words: Words, season: &BlockSeason, flight: &Flight) -> String {
    let or_not = |what: &str, day: &FlightDay, not_yet: &str| match day {
        FlightDay::In(round) => format!("{what} {}", together(words, round.by)),
        FlightDay::NotYet { .. } => not_yet.to_owned(),
        FlightDay::CannotTell { .. } => format!("{what}: can't tell"),
    };
    let start = or_not("start", &flight.start, "start not told yet");
    let highest = together(words, flight.highest.by);
    let mut parts = vec![start];
    parts.push(match &flight.peak {
        Peak::Seen => format!("peak {highest}"),
        Peak::AtLeast(..) => format!("peak {highest} at least"),
        Peak::SoFar(_) => format!("highest so far {highest}"),
        Peak::MayBeBefore => format!("highest at first {highest}"),
    });
    if !matches!(flight.peak, Peak::SoFar(_)) {
        parts.push(or_not("end", &flight.end, "not over yet"));
    }
    format!(
        "{}: {}",
        flight_name(season, flight.number),
        parts.join(", ")
    )
}

/// A day that is not torn apart at the end of a line.
fn together(words: Words, day: NaiveDate) -> String {
    words.day(day).replace(' ', "\u{a0}")
}

/// The chart in sentences.
fn alt(words: Words, season: &BlockSeason, kinds: &[Caught], panels: &[Panel]) -> String {
    let name = &season.block.name;
    let mut sentences = vec![format!(
        "Moths caught in {name} per trap per night, by reading, to {}.",
        words.day(season.as_of)
    )];
    for (caught, panel) in kinds.iter().zip(panels) {
        sentences.push(in_numbers(words, caught));
        let flights = panel.flights.iter();
        sentences.extend(flights.map(|flight| format!("{}.", flight.label.replace('\u{a0}', " "))));
    }
    sentences.join(" ")
}

/// The newest and the highest reading of a kind of trap.
fn in_numbers(words: Words, caught: &Caught) -> String {
    let counted = caught.counted.words(2);
    let kind = uppercased(caught.kind.name());
    let readings = match caught.rounds.len() {
        1 => "1 reading".to_owned(),
        more => format!("{more} readings"),
    };
    let newest = caught.rounds.last().map(|round| told(words, round));
    let rated = caught.rounds.iter().filter(|round| round.trap_nights > 0);
    let highest = rated.max_by(|a, b| a.per_trap_night().total_cmp(&b.per_trap_night()));
    let highest = highest.map_or(String::new(), |round| {
        format!(", highest {}", told(words, round))
    });
    format!(
        "{kind} traps ({counted}), {readings}: newest {}{highest}.",
        newest.unwrap_or_default()
    )
}

/// A round by its catch and day, and what makes it say less than others.
fn told(words: Words, round: &Round) -> String {
    let by = words.day(round.by);
    if round.trap_nights == 0 {
        return format!("no information ({by}, past a service life)");
    }
    let less = match (round.mostly_past_life, is_poorly_read(round)) {
        (true, _) => ", past a service life".to_owned(),
        (false, true) => format!(", {} of {} traps read", round.traps_read, round.traps_hung),
        (false, false) => String::new(),
    };
    format!("{} ({by}{less})", rate_words(round.per_trap_night()))
}

fn uppercased(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

#[cfg(test)]
mod tests;
