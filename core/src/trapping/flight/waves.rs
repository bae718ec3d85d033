//! Rises and falls of a season's catches.

use std::ops::Range;

use chrono::NaiveDate;

use super::FlightView;
use super::together::least_heat;
use crate::trapping::Round;

/// A catch is noticeably higher than another with half as much again per trap per night, and so many
/// moths more; two that rise, with so many together.
const TIMES_MORE: f64 = 1.5;
const MOTHS_MORE: f64 = 2.0;
const MOTHS_MORE_TOGETHER: f64 = 6.0;
/// Without heat to judge by, humps less than so many days apart are one flight: in 2017 and 2018 a
/// first flight had two, 18 and 19 days apart (Rijal 2018, UC Cooperative Extension).
const HUMPS_DAYS: i64 = 21;

/// A rise and what came of it, by places among the usable rounds.
#[derive(Debug, Clone)]
pub(super) struct Wave {
    /// The lowest catch per trap and night before it; `None` where it was high from the first.
    pub(super) low: Option<f64>,
    /// The first of the two rounds that rose.
    pub(super) rise: usize,
    /// The highest smoothed catch.
    pub(super) top: usize,
    /// Tops of other humps.
    pub(super) humps: Vec<usize>,
    /// Whether catches were noticeably lower on two readings since.
    pub(super) fallen: bool,
    /// Whether the next flight rose without any lower catch between.
    pub(super) ran_into_next: bool,
}

impl Round {
    /// Whether this catch is noticeably higher than one per trap and night.
    fn exceeds(&self, rate: f64) -> bool {
        exceed(&[self], rate, MOTHS_MORE)
    }
}

/// Whether rounds together are noticeably higher than a catch per trap and night, and so many moths more.
fn exceed(rounds: &[&Round], rate: f64, moths_more: f64) -> bool {
    let count: u32 = rounds.iter().map(|round| round.count).sum();
    let nights: u32 = rounds.iter().map(|round| round.trap_nights).sum();
    f64::from(count) >= TIMES_MORE * rate * f64::from(nights) + moths_more
}

/// All rounds, and the places of those with a count to go by.
pub(super) struct Catches<'a> {
    pub(super) rounds: &'a [Round],
    pub(super) usable: Vec<usize>,
    /// The day from which a fall may come from the bait alone.
    pub(super) fades_from: Option<NaiveDate>,
}

impl Catches<'_> {
    pub(super) fn round(&self, place: usize) -> &Round {
        &self.rounds[self.usable[place]]
    }

    pub(super) fn rate(&self, place: usize) -> f64 {
        self.round(place).per_trap_night()
    }

    /// Catch per trap and night of a round with half of each neighbour's.
    pub(super) fn smoothed(&self, place: usize) -> f64 {
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
    pub(super) fn shows_a_low(&self, place: usize) -> bool {
        let round = self.round(place);
        !round.mostly_past_life && self.fades_from.is_none_or(|day| round.by <= day)
    }

    /// The rises of the year, those of one flight joined, and whether the newest round may begin
    /// another.
    pub(super) fn waves(&self, view: &FlightView<'_>) -> (Vec<Wave>, bool) {
        let (mut waves, mut low_from): (Vec<Wave>, usize) = (Vec::new(), 0);
        while let Some((rise, low)) = self.next_rise(low_from, !waves.is_empty()) {
            if rise + 1 == self.usable.len() {
                return (waves, true);
            }
            let (wave, fall) = self.wave(rise, low);
            let until = fall.unwrap_or(self.usable.len());
            for wave in self.run_together(wave, until, view) {
                match waves.last_mut() {
                    Some(flight) if self.one_flight(flight, &wave, view) => self.join(flight, wave),
                    Some(flight) => {
                        // Catches that rise again have fallen before.
                        flight.fallen |= !flight.ran_into_next;
                        waves.push(wave);
                    }
                    None => waves.push(wave),
                }
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
            let rate = low.unwrap_or(0.0);
            let rises = self.round(place).exceeds(rate);
            let holds = self.usable.get(place + 1).is_none_or(|_| {
                let two = [self.round(place), self.round(place + 1)];
                two[1].exceeds(rate) && exceed(&two, rate, MOTHS_MORE_TOGETHER)
            });
            (rises && holds).then_some((place, low))
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
            ran_into_next: false,
        };
        (wave, fall)
    }

    /// The first place of the highest smoothed catch.
    pub(super) fn top(&self, places: Range<usize>) -> usize {
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
        match (least_heat(view.generations), (view.heat)(from, to)) {
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
}
