//! Flights read from catches per trap and night.
//!
//! No published algorithm was found. What follows is practice: a flight starts where catches rise
//! after a low and stay up for two readings, peaks where the smoothed catch is highest, and ends where
//! catches are back at the low for two readings. What makes a rise or a fall noticeable was chosen on
//! simulated seasons and has no source either. A count never is a threshold for doing anything.

mod answers;
mod waves;
mod why;

pub use why::{SoFar, WhyNoDay, WhyNoFlights};

use chrono::NaiveDate;

use crate::insect::Generation;
use crate::orchard::{Block, Orchard, Regime, Trap, TrapKind};
use crate::temperature::DegreeDays;

use super::caught::traps_of_year;
use super::{Counted, Lapse, Round, Visits, rounds};
use waves::{Catches, Wave};

/// The flights of one block's season, as far as known on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct Flights {
    /// The kind of trap they are read from.
    pub kind: TrapKind,
    /// What was counted.
    pub counted: Counted,
    /// Rounds of readings this year, and of those with a count to go by.
    pub rounds: usize,
    /// Of those, such with a count to go by.
    pub usable: usize,
    /// The flights, oldest first.
    pub flights: Vec<Flight>,
    /// The newest round, whatever it shows.
    pub newest: Round,
    /// Whether that round alone is noticeably above the low: too early to say.
    pub may_be_starting: bool,
}

/// One flight.
#[derive(Debug, Clone, PartialEq)]
pub struct Flight {
    /// The first round of the rise.
    pub start: FlightDay,
    /// The round in the middle of the highest catch.
    pub peak: FlightDay,
    /// The first round back at the low.
    pub end: FlightDay,
    /// The highest round counted so far, whether or not it may be told as the peak.
    pub highest: Round,
    /// Humps besides the highest, by their round.
    pub other_humps: Vec<Round>,
    /// Degree-days from the highest round of the flight before to this one's; `None` for the first,
    /// and where temperatures are missing.
    pub heat_between: Option<DegreeDays>,
    /// What is published for the generation that lies between the two; `None` where the first flight
    /// of the year may have been missed.
    pub published: Option<Generation>,
}

/// One of three answers to when a flight started, peaked or ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FlightDay {
    /// In the nights of a round.
    In(Round),
    /// Not yet, or too early to say.
    NotYet {
        /// What is seen so far.
        why: SoFar,
    },
    /// It cannot be told.
    CannotTell {
        /// Why.
        why: WhyNoDay,
    },
}

impl FlightDay {
    /// The round, where there is one.
    #[must_use]
    pub const fn round(&self) -> Option<&Round> {
        match self {
            Self::In(round) => Some(round),
            Self::NotYet { .. } | Self::CannotTell { .. } => None,
        }
    }
}

/// What flights are read with beside the block's own traps.
pub struct FlightView<'a> {
    /// Traps and products.
    pub orchard: &'a Orchard,
    /// Visits.
    pub visits: &'a Visits,
    /// Parts past their service life this year.
    pub lapses: &'a [Lapse],
    /// The civil day of telling.
    pub as_of: NaiveDate,
    /// The day from which new nuts split: bait bags fade.
    pub nuts_split: NaiveDate,
    /// The published generations of the insect, one after the other.
    pub generations: &'a [Generation],
    /// Degree-days after a day up to another, where known.
    pub heat: &'a dyn Fn(NaiveDate, NaiveDate) -> Option<DegreeDays>,
}

/// Reads a block's flights of the year.
///
/// # Errors
///
/// Why there is nothing to read them from.
pub fn flights(block: &Block, view: &FlightView<'_>) -> Result<Flights, WhyNoFlights> {
    let (kind, counted, traps) = source(block, view).ok_or(WhyNoFlights::NoTraps)?;
    let FlightView {
        orchard,
        visits,
        lapses,
        as_of,
        ..
    } = *view;
    let rounds = rounds(orchard, &traps, counted, visits, lapses, as_of);
    let newest = rounds.last().cloned();
    let newest = newest.ok_or(WhyNoFlights::NotRead(kind))?;
    let catches = Catches {
        usable: (0..rounds.len())
            .filter(|&at| rounds[at].counts())
            .collect(),
        fades_from: (kind == TrapKind::BaitBag).then_some(view.nuts_split),
        rounds: &rounds,
    };
    let (waves, may_be_starting) = catches.waves(view);
    let mut flights: Vec<Flight> = Vec::new();
    for (at, wave) in waves.iter().enumerate() {
        let before = at.checked_sub(1).map(|at| &waves[at]);
        let heat_between = before.and_then(|before| {
            (view.heat)(
                catches.round(before.top).middle(),
                catches.round(wave.top).middle(),
            )
        });
        let until = waves
            .get(at + 1)
            .map_or(catches.usable.len(), |next| next.rise);
        flights.push(Flight {
            heat_between,
            published: before.and_then(|_| published(&waves[0], at, view.generations)),
            ..catches.flight(wave, until)
        });
    }
    Ok(Flights {
        kind,
        counted,
        rounds: rounds.len(),
        usable: catches.usable.len(),
        flights,
        newest,
        may_be_starting,
    })
}

/// The generation between a flight and the one before it; the last one published goes on.
fn published(first: &Wave, at: usize, generations: &[Generation]) -> Option<Generation> {
    let seen_from_the_low = first.low.is_some();
    let generation = generations.get(at - 1).or(generations.last());
    generation.copied().filter(|_| seen_from_the_low)
}

/// What flights are read from: males where nothing hides the females from them, else females, else
/// both sexes together. Females are never inferred from an unsexed catch.
fn source<'a>(block: &Block, view: &FlightView<'a>) -> Option<(TrapKind, Counted, Vec<&'a Trap>)> {
    let kinds: &[TrapKind] = match block.regime {
        Regime::Conventional => &[
            TrapKind::Pheromone,
            TrapKind::PheromonePpo,
            TrapKind::BaitBag,
        ],
        Regime::MatingDisruption => &[TrapKind::BaitBag, TrapKind::PheromonePpo],
    };
    kinds.iter().find_map(|&kind| {
        let (counted, traps) = traps_of_year(view.orchard, block, kind, view.visits, view.as_of)?;
        Some((kind, counted, traps))
    })
}

#[cfg(test)]
mod tests;
