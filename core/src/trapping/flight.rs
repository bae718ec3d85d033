//! Flights read from catches per trap and night.
//!
//! No published algorithm was found. What follows is practice: a flight starts where catches rise
//! after a low and stay up for two readings, peaks where the smoothed catch is highest, and ends where
//! catches are back at the low for two readings. What makes a rise or a fall noticeable was chosen on
//! simulated seasons and has no source either. A count never is a threshold for doing anything.

use std::ops::Range;

use chrono::{Datelike, NaiveDate};

use crate::id::TrapId;
use crate::insect::Generation;
use crate::orchard::{Block, Orchard, Regime, Trap, TrapKind};
use crate::temperature::DegreeDays;

use super::{Counted, Lapse, Round, Visits, rounds};

/// A catch is noticeably higher than another with half as much again a trap and night, and so many
/// moths more.
const TIMES_MORE: f64 = 1.5;
const MOTHS_MORE: f64 = 3.0;
/// Catches are back at the low with no more than this share of the rise left.
const LEFT_AT_END: f64 = 1.0 / 3.0;
/// A start that falls into a longer time without readings has no day.
const LONGEST_GAP_DAYS: i64 = 14;
/// Without heat to judge by, humps less than so many days apart are one flight: in 2017 and 2018 a
/// first flight had two, 18 and 19 days apart (Rijal 2018, UC Cooperative Extension).
const HUMPS_DAYS: i64 = 21;

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
        reason: &'static str,
    },
    /// It cannot be told.
    CannotTell {
        /// Why.
        reason: String,
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

    fn cannot_tell(reason: impl Into<String>) -> Self {
        Self::CannotTell {
            reason: reason.into(),
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
/// Why there is nothing to read them from, in words.
pub fn flights(block: &Block, view: &FlightView<'_>) -> Result<Flights, String> {
    let (kind, counted, traps) = source(block, view).ok_or("no moth traps hang")?;
    let FlightView {
        orchard,
        visits,
        lapses,
        as_of,
        ..
    } = *view;
    let rounds = rounds(orchard, &traps, counted, visits, lapses, as_of);
    let newest = rounds.last().cloned();
    let newest = newest.ok_or_else(|| format!("{} traps not read yet", kind.name()))?;
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
    let new_year = view.as_of.with_ordinal0(0)?;
    let kinds: &[TrapKind] = match block.regime {
        Regime::Conventional => &[
            TrapKind::Pheromone,
            TrapKind::PheromonePpo,
            TrapKind::BaitBag,
        ],
        Regime::MatingDisruption => &[TrapKind::BaitBag, TrapKind::PheromonePpo],
    };
    kinds.iter().find_map(|&kind| {
        let in_year = |trap: &&Trap| {
            trap.hung <= view.as_of && trap.removed.is_none_or(|removed| removed >= new_year)
        };
        let traps = view.orchard.traps_of(&block.id).filter(in_year);
        let traps: Vec<&Trap> = traps.filter(|trap| trap.kind == kind).collect();
        let counted = match kind {
            TrapKind::Pheromone => Counted::Males,
            _ if all_sexed(&traps, view, new_year) => Counted::Females,
            _ => Counted::Moths,
        };
        (!traps.is_empty()).then_some((kind, counted, traps))
    })
}

/// Whether every count of these traps this year was sexed.
fn all_sexed(traps: &[&Trap], view: &FlightView<'_>, new_year: NaiveDate) -> bool {
    let seen = traps
        .iter()
        .flat_map(|trap| view.visits.of(&trap.id, view.as_of));
    let counted = seen.filter(|visit| visit.date >= new_year && visit.all_moths().is_some());
    let mut counted = counted.peekable();
    counted.peek().is_some()
        && counted.all(|visit| visit.females.is_some() && visit.moths.is_none())
}

/// A rise and what came of it, by places among the usable rounds.
#[derive(Debug, Clone)]
struct Wave {
    /// The lowest catch per trap and night before it; `None` where it was high from the first.
    low: Option<f64>,
    /// The first of the two rounds that rose.
    rise: usize,
    /// The highest smoothed catch.
    top: usize,
    /// Tops of other humps.
    humps: Vec<usize>,
    /// Whether catches were noticeably lower on two readings since.
    fallen: bool,
}

impl Round {
    /// Whether this catch is noticeably higher than one per trap and night.
    fn exceeds(&self, rate: f64) -> bool {
        f64::from(self.count) >= TIMES_MORE * rate * f64::from(self.trap_nights) + MOTHS_MORE
    }
}

/// All rounds, and the places of those with a count to go by.
struct Catches<'a> {
    rounds: &'a [Round],
    usable: Vec<usize>,
    /// The day from which a fall may come from the bait alone.
    fades_from: Option<NaiveDate>,
}

impl Catches<'_> {
    fn round(&self, place: usize) -> &Round {
        &self.rounds[self.usable[place]]
    }

    fn rate(&self, place: usize) -> f64 {
        self.round(place).per_trap_night()
    }

    /// Catch per trap and night of a round with half of each neighbour's.
    fn smoothed(&self, place: usize) -> f64 {
        let beside = [place.checked_sub(1), Some(place + 1)];
        let beside = beside.into_iter().flatten();
        let beside = beside.filter(|&beside| beside < self.usable.len());
        let weighed = beside.map(|beside| (0.5, beside)).chain([(1.0, place)]);
        let (moths, nights) = weighed.fold((0.0, 0.0), |(moths, nights), (weight, place)| {
            let round = self.round(place);
            (
                moths + weight * f64::from(round.count),
                nights + weight * f64::from(round.trap_nights),
            )
        });
        moths / nights
    }

    /// Whether a low count of a round says that few flew.
    fn shows_a_low(&self, place: usize) -> bool {
        let round = self.round(place);
        !round.only_past_life && self.fades_from.is_none_or(|day| round.by <= day)
    }

    /// The rises of the year, those of one flight joined, and whether the newest round may begin
    /// another.
    fn waves(&self, view: &FlightView<'_>) -> (Vec<Wave>, bool) {
        let (mut waves, mut low_from): (Vec<Wave>, usize) = (Vec::new(), 0);
        while let Some((rise, low)) = self.next_rise(low_from, !waves.is_empty()) {
            if rise + 1 == self.usable.len() {
                return (waves, true);
            }
            let (wave, fall) = self.wave(rise, low);
            match waves.last_mut() {
                Some(flight) if self.one_flight(flight, &wave, view) => self.join(flight, wave),
                Some(flight) => {
                    // Catches that rise again have fallen before.
                    flight.fallen = true;
                    waves.push(wave);
                }
                None => waves.push(wave),
            }
            match fall {
                Some(fall) => low_from = fall,
                None => break,
            }
        }
        (waves, false)
    }

    /// The first round that rises above the lowest one from a place on: the newest round, or one
    /// whose next is up too. After a flight the low has at least one round.
    fn next_rise(&self, low_from: usize, after_flight: bool) -> Option<(usize, Option<f64>)> {
        let from = low_from + usize::from(after_flight);
        (from..self.usable.len()).find_map(|place| {
            let lows = (low_from..place).filter(|&place| self.shows_a_low(place));
            let low = lows.map(|place| self.rate(place)).reduce(f64::min);
            let rises = |place: usize| self.round(place).exceeds(low.unwrap_or(0.0));
            let last = place + 1 == self.usable.len();
            (rises(place) && (last || rises(place + 1))).then_some((place, low))
        })
    }

    /// Follows a rise to its top and to the round at which it has fallen.
    fn wave(&self, rise: usize, low: Option<f64>) -> (Wave, Option<usize>) {
        let mut highest = rise;
        let lower = |highest: usize, place: usize| {
            self.shows_a_low(place) && self.round(highest).exceeds(self.rate(place))
        };
        let fall = (rise + 1..self.usable.len()).find(|&place| {
            if self.rate(place) > self.rate(highest) {
                highest = place;
            }
            lower(highest, place)
        });
        let next = fall.map(|fall| fall + 1);
        let next = next.filter(|&next| next < self.usable.len());
        let wave = Wave {
            low,
            rise,
            top: self.top(rise..fall.unwrap_or(self.usable.len())),
            humps: Vec::new(),
            fallen: next.is_some_and(|next| lower(highest, next)),
        };
        (wave, fall)
    }

    /// The first place of the highest smoothed catch.
    fn top(&self, places: Range<usize>) -> usize {
        places.clone().fold(places.start, |top, place| {
            if self.smoothed(place) > self.smoothed(top) {
                place
            } else {
                top
            }
        })
    }

    /// Whether a rise is another hump of a flight: no generation is so short.
    fn one_flight(&self, flight: &Wave, wave: &Wave, view: &FlightView<'_>) -> bool {
        let (from, to) = (
            self.round(flight.top).middle(),
            self.round(wave.top).middle(),
        );
        let shortest = view.generations.iter().filter_map(|g| Some(g.range?.0));
        let shortest = shortest.min_by(|a, b| a.fahrenheit_days().total_cmp(&b.fahrenheit_days()));
        match (shortest, (view.heat)(from, to)) {
            (Some(shortest), Some(heat)) => heat.fahrenheit_days() < shortest.fahrenheit_days(),
            _ => (to - from).num_days() < HUMPS_DAYS,
        }
    }

    fn join(&self, flight: &mut Wave, mut wave: Wave) {
        if self.smoothed(wave.top) > self.smoothed(flight.top) {
            std::mem::swap(&mut flight.top, &mut wave.top);
        }
        flight.humps.push(wave.top);
        flight.fallen = wave.fallen;
    }

    /// What may be told of a wave; the next one rises at `until`.
    fn flight(&self, wave: &Wave, until: usize) -> Flight {
        Flight {
            start: self.start(wave),
            peak: self.peak(wave),
            end: self.end(wave, until),
            highest: self.round(wave.top).clone(),
            other_humps: wave
                .humps
                .iter()
                .map(|&top| self.round(top).clone())
                .collect(),
            heat_between: None,
            published: None,
        }
    }

    fn start(&self, wave: &Wave) -> FlightDay {
        let round = self.round(wave.rise);
        let before = self.usable[wave.rise].checked_sub(1);
        let before = before.map(|at| &self.rounds[at]);
        let gap = (round.by - round.after).num_days();
        if wave.low.is_none() {
            FlightDay::cannot_tell("moths were caught from the first readings on")
        } else if round.may_have_jumped() || before.is_some_and(|before| before.only_past_life) {
            let traps = before.map_or(&[][..], |before| &before.past_life);
            FlightDay::cannot_tell(format!(
                "traps were past their service life before the rise, and the catch jumps from a \
                 fresh lure{}",
                named(traps)
            ))
        } else if gap > LONGEST_GAP_DAYS {
            FlightDay::cannot_tell(format!(
                "no traps were read between {} and {}",
                round.after, round.by
            ))
        } else {
            FlightDay::In(round.clone())
        }
    }

    fn peak(&self, wave: &Wave) -> FlightDay {
        if !wave.fallen {
            return FlightDay::NotYet {
                reason: if wave.top + 2 < self.usable.len() {
                    "too early to say: catches have not noticeably fallen"
                } else {
                    "still rising"
                },
            };
        }
        let top = self.usable[wave.top];
        let beside = &self.rounds[top.saturating_sub(1)..self.rounds.len().min(top + 2)];
        let undercounted = beside.iter().find(|round| !round.undercounts.is_empty());
        if let Some(round) = undercounted {
            FlightDay::cannot_tell(format!(
                "liners so full that they undercount on {}{}",
                round.by,
                named(&round.undercounts)
            ))
        } else if let Some(round) = beside.iter().find(|round| round.only_past_life) {
            FlightDay::cannot_tell(format!(
                "traps were past their service life on {}{}",
                round.by,
                named(&round.past_life)
            ))
        } else if beside[beside.len() / 2].may_have_jumped() {
            FlightDay::cannot_tell("an overdue lure was changed just before the highest catch")
        } else {
            FlightDay::In(self.round(wave.top).clone())
        }
    }

    fn end(&self, wave: &Wave, until: usize) -> FlightDay {
        let (low, top) = (wave.low.unwrap_or(0.0), self.smoothed(wave.top));
        let back_at = low + (top - low) * LEFT_AT_END;
        let is_back =
            |place: usize| place < until && self.shows_a_low(place) && self.rate(place) <= back_at;
        let last_hump = wave
            .humps
            .iter()
            .fold(wave.top, |last, &hump| last.max(hump));
        let back = (last_hump + 1..until).find(|&place| is_back(place) && is_back(place + 1));
        match back {
            Some(place) => FlightDay::In(self.round(place).clone()),
            None if until < self.usable.len() => {
                FlightDay::cannot_tell("catches rose again before they were back at the low")
            }
            None => self.no_end_yet(last_hump),
        }
    }

    /// Why a flight that is the last so far has no end.
    fn no_end_yet(&self, top: usize) -> FlightDay {
        let newest = self.usable.len() - 1;
        if newest > top && self.round(newest).only_past_life {
            FlightDay::cannot_tell(format!(
                "traps are past their service life{}",
                named(&self.round(newest).past_life)
            ))
        } else if newest > top && !self.shows_a_low(newest) {
            FlightDay::cannot_tell("bait bags fade as new nuts split, so their fall is no end")
        } else {
            FlightDay::NotYet {
                reason: "not back at the low on two readings",
            }
        }
    }
}

/// Traps in brackets after a blank; nothing for none.
fn named(traps: &[TrapId]) -> String {
    let ids: Vec<&str> = traps.iter().map(TrapId::as_str).collect();
    if ids.is_empty() {
        String::new()
    } else {
        format!(" ({})", ids.join(", "))
    }
}

#[cfg(test)]
mod tests;
