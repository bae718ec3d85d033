//! Flights read from catches per trap and night.
//!
//! No published algorithm was found. What follows is practice: a flight starts where catches rise
//! after a low and stay up for two readings, peaks where the smoothed catch is highest, and ends where
//! catches are back at the low for two readings. What makes a rise or a fall noticeable was chosen on
//! simulated seasons and has no source either. A count never is a threshold for doing anything.

mod answers;
mod number;
mod source;
mod together;
mod waves;
mod why;

pub use number::NumberedBy;
pub use source::FarBelow;
pub use why::{SoFar, WhyNoDay, WhyNoFlights};

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::insect::Generation;
use crate::orchard::{Block, Orchard, TrapKind};
use crate::temperature::DegreeDays;

use super::{Counted, Lapse, Round, Visits};
use source::{Source, source};
use waves::{Catches, Wave};

/// The flights of one block's season, as far as known on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct Flights {
    /// The kind of trap they are read from.
    pub kind: TrapKind,
    /// What was counted.
    pub counted: Counted,
    /// Why they are not read from the block's pheromone traps, where it is not for the regime.
    pub far_below: Option<FarBelow>,
    /// Kinds of trap beside that flights are not read from.
    pub beside: Vec<TrapKind>,
    /// What the flights' numbers rest on.
    pub numbered_by: NumberedBy,
    /// The first round, whatever it shows.
    pub first: Round,
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
    /// Which flight of the year: the one that lays the eggs of the generation of that number. What was
    /// not seen leaves its number free.
    pub number: u8,
    /// The first round of the rise.
    pub start: FlightDay,
    /// The round in the middle of the highest catch.
    pub highest: Round,
    /// How far that round is the peak.
    pub peak: Peak,
    /// What makes the peak's day less sure.
    pub peak_doubts: Vec<WhyNoDay>,
    /// The first round back at the low.
    pub end: FlightDay,
    /// Humps besides the highest, by their round.
    pub other_humps: Vec<Round>,
    /// Degree-days from the highest round of the flight before to this one's, and what is published for
    /// the generation between them; `None` where the flight before was not seen, and where temperatures
    /// are missing.
    pub heat_between: Option<(DegreeDays, Option<Generation>)>,
}

impl Flight {
    /// The round of the peak, where it is one.
    #[must_use]
    pub const fn peak_round(&self) -> Option<&Round> {
        match self.peak {
            Peak::Seen | Peak::AtLeast(..) => Some(&self.highest),
            Peak::SoFar(_) | Peak::MayBeBefore => None,
        }
    }
}

/// How far the highest round of a flight is its peak.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Peak {
    /// The highest so far: two lower rounds have not followed yet.
    SoFar(SoFar),
    /// Two lower rounds followed.
    Seen,
    /// The same, and on a day liners of these traps were so full that they undercount: it was at least as
    /// high.
    AtLeast(NaiveDate, Vec<TrapId>),
    /// It is the first round, so that catches may have been higher before.
    MayBeBefore,
}

/// One of three answers to when a flight started or ended.
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

    /// How far it has come, where it is not yet.
    #[must_use]
    pub const fn missing(&self) -> Option<SoFar> {
        match self {
            Self::NotYet { why } => Some(*why),
            Self::In(_) | Self::CannotTell { .. } => None,
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
    /// The degree-days at which one flight ends and the next begins, by their rise.
    pub bounds: &'a [DegreeDays],
    /// What they count from.
    pub numbered_by: NumberedBy,
    /// Degree-days after a day up to another, where known.
    pub heat: &'a dyn Fn(NaiveDate, NaiveDate) -> Option<DegreeDays>,
}

/// Reads a block's flights of the year.
///
/// # Errors
///
/// Why there is nothing to read them from.
pub fn flights(block: &Block, view: &FlightView<'_>) -> Result<Flights, WhyNoFlights> {
    let source = source(block, view).ok_or(WhyNoFlights::NoTraps)?;
    let Source {
        kind,
        counted,
        rounds,
        far_below,
        beside,
        ..
    } = source;
    let (Some(first), Some(newest)) = (rounds.first(), rounds.last()) else {
        return Err(WhyNoFlights::NotRead(kind));
    };
    let catches = Catches {
        usable: (0..rounds.len())
            .filter(|&at| rounds[at].counts())
            .collect(),
        fades_from: (kind == TrapKind::BaitBag).then_some(view.nuts_split),
        rounds: &rounds,
    };
    let (waves, may_be_starting) = catches.waves(view);
    Ok(Flights {
        kind,
        counted,
        far_below,
        beside,
        numbered_by: view.numbered_by,
        first: first.clone(),
        rounds: rounds.len(),
        usable: catches.usable.len(),
        flights: each(&catches, &waves, view),
        newest: newest.clone(),
        may_be_starting,
    })
}

/// The flights of a year's waves.
fn each(catches: &Catches<'_>, waves: &[Wave], view: &FlightView<'_>) -> Vec<Flight> {
    let rises: Vec<NaiveDate> = waves
        .iter()
        .map(|wave| catches.round(wave.rise).middle())
        .collect();
    let from_first = waves.first().is_some_and(|wave| wave.low.is_none());
    let numbers = number::numbers(&rises, from_first, view);
    let mut flights: Vec<Flight> = Vec::new();
    for (at, (wave, number)) in waves.iter().zip(numbers).enumerate() {
        let next = waves.get(at + 1);
        let until = next.map_or(catches.usable.len(), |next| next.rise);
        let mut flight = catches.flight(wave, number, until);
        flight.heat_between = flights
            .last()
            .and_then(|before| between(before, &flight, view));
        flights.push(flight);
    }
    flights
}

/// Heat from one flight's highest round to that of the next, with what is published for the generation
/// between them; the last one published goes on.
fn between(
    before: &Flight,
    flight: &Flight,
    view: &FlightView<'_>,
) -> Option<(DegreeDays, Option<Generation>)> {
    if before.number + 1 != flight.number {
        return None;
    }
    let heat = (view.heat)(before.highest.middle(), flight.highest.middle())?;
    let generation = view.generations.get(usize::from(before.number) - 1);
    Some((heat, generation.or(view.generations.last()).copied()))
}

#[cfg(test)]
mod tests;
