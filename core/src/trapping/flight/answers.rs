//! What may be told of a flight: its start, peak and end, or why not.

use super::waves::{Catches, Wave};
use super::{Flight, FlightDay, SoFar, WhyNoDay};

/// Catches are back at the low with no more than this share of the rise left.
const LEFT_AT_END: f64 = 1.0 / 3.0;
/// A start that falls into a longer time without readings has no day.
const LONGEST_GAP_DAYS: i64 = 14;

impl Catches<'_> {
    /// What may be told of a wave; the next one rises at `until`.
    pub(super) fn flight(&self, wave: &Wave, until: usize) -> Flight {
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

    fn peak(&self, wave: &Wave) -> FlightDay {
        if !wave.fallen {
            let why = match wave.top + 1 < self.usable.len() {
                true => SoFar::NotLowerTwice,
                false => SoFar::StillRising,
            };
            return self.no_fall(wave.top).unwrap_or(FlightDay::NotYet { why });
        }
        if wave.low.is_none() && wave.top == wave.rise {
            return WhyNoDay::HighestAtFirst.into();
        }
        let top = self.usable[wave.top];
        let beside = &self.rounds[top.saturating_sub(1)..self.rounds.len().min(top + 2)];
        if let Some(round) = beside.iter().find(|round| !round.undercounts.is_empty()) {
            WhyNoDay::Undercounts(round.by, round.undercounts.clone()).into()
        } else if let Some(round) = beside.iter().find(|round| round.mostly_past_life) {
            WhyNoDay::WerePastLife(round.by, round.past_life.clone()).into()
        } else if self.rounds[top].may_have_jumped() {
            WhyNoDay::LureJustChanged.into()
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
