//! What may be told of a flight: its start, peak and end, or why not.

use super::waves::{Catches, Wave};
use super::{Flight, FlightDay, Peak, SoFar, WhyNoDay};
use crate::trapping::Round;

/// Catches are back at the low with no more than this share of the rise left.
const LEFT_AT_END: f64 = 1.0 / 3.0;
/// A start that falls into a longer time without readings has no day.
const LONGEST_GAP_DAYS: i64 = 14;

impl Catches<'_> {
    /// What may be told of a wave; the next one rises at `until`.
    pub(super) fn flight(&self, wave: &Wave, number: u8, until: usize) -> Flight {
        let humps = wave.humps.iter();
        let (peak, peak_doubts) = self.peak(wave, until);
        Flight {
            number,
            start: self.start(wave),
            highest: self.round(wave.top).clone(),
            peak,
            peak_doubts,
            end: self.end(wave, until),
            other_humps: humps.map(|&top| self.round(top).clone()).collect(),
            heat_between: None,
        }
    }

    fn start(&self, wave: &Wave) -> FlightDay {
        let round = self.round(wave.rise);
        let Some(before) = wave.low.and(wave.rise.checked_sub(1)) else {
            return WhyNoDay::CaughtFromFirst.into();
        };
        let (from, to) = (self.round(before).by, round.by);
        // The round before by date, also one without a count to go by.
        let last = &self.rounds[self.usable[wave.rise] - 1];
        if round.may_have_jumped() || last.mostly_past_life {
            WhyNoDay::FreshLure(last.past_life.clone()).into()
        } else if (to - from).num_days() > LONGEST_GAP_DAYS {
            WhyNoDay::TooFewRead { from, to }.into()
        } else {
            FlightDay::In(round.clone())
        }
    }

    /// How far the top of a wave is a peak, and what makes that less sure.
    fn peak(&self, wave: &Wave, until: usize) -> (Peak, Vec<WhyNoDay>) {
        let lower = |place: &usize| self.rate(*place) < self.rate(wave.top);
        let after: Vec<usize> = (wave.top + 1..until).collect();
        let twice = after.windows(2).find(|two| two.iter().all(lower));
        let top = self.usable[wave.top];
        let beside = &self.rounds[top.saturating_sub(1)..self.rounds.len().min(top + 2)];
        let full = beside.iter().find(|round| !round.undercounts.is_empty());
        let peak = match (twice, full) {
            _ if wave.low.is_none() && wave.top == wave.rise => Peak::MayBeBefore,
            (None, _) if wave.ran_into_next => Peak::SoFar(SoFar::RanIntoNext),
            (None, _) if !wave.fallen && after.is_empty() => Peak::SoFar(SoFar::StillRising),
            (None, _) if !wave.fallen => Peak::SoFar(SoFar::NotLowerTwice),
            (_, Some(full)) => Peak::AtLeast(full.by, full.undercounts.clone()),
            _ => Peak::Seen,
        };
        let doubts = match &peak {
            Peak::Seen | Peak::AtLeast(..) => self.doubts(top, beside, twice.unwrap_or(&after)),
            Peak::SoFar(_) | Peak::MayBeBefore => Vec::new(),
        };
        (peak, doubts)
    }

    /// What makes the day of a peak less sure: worn lures beside it, a fresh one on it, and lower catches
    /// after it that have another reason.
    fn doubts(&self, top: usize, beside: &[Round], lows: &[usize]) -> Vec<WhyNoDay> {
        let worn = beside.iter().find(|round| round.mostly_past_life);
        let worn = worn.map(|round| WhyNoDay::WerePastLife(round.by, round.past_life.clone()));
        let fresh = self.rounds[top].may_have_jumped();
        let fades = |low: &usize| self.fades_from.is_some_and(|day| self.round(*low).by > day);
        let doubts = [
            worn,
            fresh.then_some(WhyNoDay::LureJustChanged),
            lows.iter().any(fades).then_some(WhyNoDay::BagsFade),
        ];
        doubts.into_iter().flatten().collect()
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
            None if until < self.usable.len() => WhyNoDay::RoseAgain.into(),
            None => self.no_fall(last_hump).unwrap_or(FlightDay::NotYet {
                why: SoFar::NotBackTwice,
            }),
        }
    }

    /// Why catches lower than a top may not be taken for a fall: by the newest round.
    fn no_fall(&self, top: usize) -> Option<FlightDay> {
        let newest = self.rounds.last()?;
        let after_top = self.usable[top] + 1 < self.rounds.len();
        if after_top && newest.mostly_past_life {
            Some(WhyNoDay::ArePastLife(newest.past_life.clone()).into())
        } else if after_top && self.fades_from.is_some_and(|day| newest.by > day) {
            Some(WhyNoDay::BagsFade.into())
        } else {
            None
        }
    }
}

impl From<WhyNoDay> for FlightDay {
    fn from(why: WhyNoDay) -> Self {
        Self::CannotTell { why }
    }
}
