//! Flights that run into each other: later ones overlap, and catches hardly fall between.

use std::ops::Range;

use crate::insect::Generation;
use crate::temperature::DegreeDays;

use super::FlightView;
use super::waves::{Catches, Wave};

/// The place at which one flight gives way to the next.
enum Parting {
    /// The lowest catch between tops that are both higher.
    Dip(usize),
    /// Catches only rose.
    Rise(usize),
}

impl Catches<'_> {
    /// The flights of one rise, up to a place. No flight has two tops as far apart as a generation's least
    /// heat, and none reaches its top a whole generation after its rise.
    pub(super) fn run_together(
        &self,
        wave: Wave,
        until: usize,
        view: &FlightView<'_>,
    ) -> Vec<Wave> {
        let (rise, dips) = match self.parting(&wave, until, view) {
            None => return vec![wave],
            Some(Parting::Dip(lowest)) => (lowest, true),
            Some(Parting::Rise(next)) => (next, false),
        };
        let first = Wave {
            top: self.top(wave.rise..rise),
            fallen: dips,
            ran_into_next: !dips,
            ..wave.clone()
        };
        let second = Wave {
            low: Some(self.rate(rise)),
            rise,
            top: self.top(rise..until),
            ..wave
        };
        let mut flights = self.run_together(first, rise, view);
        flights.extend(self.run_together(second, until, view));
        flights
    }

    fn parting(&self, wave: &Wave, until: usize, view: &FlightView<'_>) -> Option<Parting> {
        let least = least_heat(view.generations)?;
        let whole = least_of(view.generations.iter().map(|of| of.at))?;
        let apart = |from: usize, to: usize, heat: DegreeDays| {
            let between = (view.heat)(self.round(from).middle(), self.round(to).middle());
            between.is_some_and(|sum| sum.fahrenheit_days() >= heat.fahrenheit_days())
        };
        let top = wave.top;
        let before = (wave.rise..top).rfind(|&place| apart(place, top, least));
        let after = (top + 1..until).find(|&place| apart(top, place, least));
        let before_it = before.map(|last| (self.top(wave.rise..last + 1), top));
        let after_it = after.map(|first| (top, self.top(first..until)));
        let tops = before_it.into_iter().chain(after_it);
        let dip = tops.filter_map(|(one, other)| self.dip(one, other)).next();
        dip.map(Parting::Dip).or_else(|| {
            let last = before.filter(|_| apart(wave.rise, top, whole))?;
            Some(Parting::Rise(last + 1))
        })
    }

    /// The lowest place between two tops, where it is lower than both.
    fn dip(&self, one: usize, other: usize) -> Option<usize> {
        let lower = self.smoothed(one).min(self.smoothed(other));
        let lowest = self.lowest(one + 1..other);
        lowest.filter(|&place| self.smoothed(place) < lower)
    }

    fn lowest(&self, mut places: Range<usize>) -> Option<usize> {
        let first = places.next()?;
        Some(places.fold(first, |lowest, place| {
            if self.smoothed(place) < self.smoothed(lowest) {
                place
            } else {
                lowest
            }
        }))
    }
}

/// The least heat published for any of some generations.
pub(super) fn least_heat(generations: &[Generation]) -> Option<DegreeDays> {
    least_of(generations.iter().filter_map(|of| Some(of.range?.0)))
}

fn least_of(heats: impl Iterator<Item = DegreeDays>) -> Option<DegreeDays> {
    heats.min_by(|a, b| a.fahrenheit_days().total_cmp(&b.fahrenheit_days()))
}
