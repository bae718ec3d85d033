//! Heat as a level that rises with time, so that a mark is a level to reach and marks that count
//! from one another are crossings of one curve.

use chrono::NaiveDate;

use crate::heat::HeatSeries;

use super::Outlook;

/// An instant on a series' calendar: position of a day plus the share of it that has gone.
pub(in crate::season) type Instant = f64;

/// A season's heat from its first known day to the end of its year.
#[derive(Clone, Copy)]
pub(in crate::season) struct Trajectory<'a> {
    heat: &'a HeatSeries,
    /// Heat gained after 0, 1, 2 … days from the first one not known; empty without a past year.
    ahead: &'a [f64],
    /// Position after the season's last day.
    end: usize,
}

impl<'a> Trajectory<'a> {
    /// Only what is known.
    pub(in crate::season) fn known(heat: &'a HeatSeries) -> Self {
        Self {
            heat,
            ahead: &[],
            end: heat.len(),
        }
    }

    /// What is known, continued by each past year of the same station.
    pub(in crate::season) fn continued(
        heat: &'a HeatSeries,
        outlook: &'a Outlook,
    ) -> impl Iterator<Item = Self> {
        outlook.continuations().map(move |ahead| Self {
            heat,
            ahead,
            end: outlook.end(),
        })
    }

    /// The level at the beginning of a day; `None` beyond what the trajectory covers.
    pub(in crate::season) fn level_at(&self, day: NaiveDate) -> Option<f64> {
        let position = self.heat.position(day)?;
        let known = self.heat.len();
        if position <= known {
            return Some(self.heat.level(position));
        }
        let gained = self.ahead.get(position - known)?;
        Some(self.heat.level(known) + gained)
    }

    /// Whether the level is reached by the days known.
    pub(in crate::season) fn is_known(&self, level: f64) -> bool {
        level <= self.heat.level(self.heat.len())
    }

    /// When the level is reached.
    pub(in crate::season) fn reaches(&self, level: f64) -> Reached {
        let known = self.heat.len();
        let missing = level - self.heat.level(known);
        if missing <= 0.0 {
            let crossing = self.heat.crossing(0, level);
            return crossing.map_or(Reached::Unknown, Reached::At);
        }
        let day = self.ahead.partition_point(|gained| *gained < missing);
        match self.ahead.get(day) {
            Some(after) => {
                // The first entry is 0, below what is missing, so there is one before `day`.
                let before = self.ahead[day - 1];
                let share = (missing - before) / (after - before);
                Reached::At((known + day - 1) as f64 + share)
            }
            None if known + self.ahead.len() > self.end => Reached::NotThisYear,
            None => Reached::Unknown,
        }
    }

    /// The instant at which the season ends.
    pub(in crate::season) const fn end(&self) -> Instant {
        self.end as f64
    }
}

/// When a trajectory reaches a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::season) enum Reached {
    /// At this instant.
    At(Instant),
    /// Not before the year ends.
    NotThisYear,
    /// The past year has a gap on the way, or nothing continues the season.
    Unknown,
}

impl Reached {
    /// The instant; the end of the season where it is not reached before.
    pub(super) fn or_end(self, end: Instant) -> Option<Instant> {
        match self {
            Self::At(instant) => Some(instant),
            Self::NotThisYear => Some(end),
            Self::Unknown => None,
        }
    }
}

/// The day that contains an instant. Here and in [`days_of`] alone instants are rounded to printed days; a
/// range by weather alone, whose usual spread was chosen so, reaches outward to both sides.
pub(in crate::season) fn day_of(heat: &HeatSeries, instant: Instant) -> NaiveDate {
    heat.date(position_of(instant))
}

/// First and last day of a joint range, given with its middle.
pub(super) fn days_of(heat: &HeatSeries, range: [Instant; 3]) -> [NaiveDate; 2] {
    whole_days(range).map(|position| heat.date(position))
}

/// Positions of the first and the last day of a range: those whose noon lies in it, and the day of its middle
/// in any case. So whole days hold as much as the instants do; reaching outward to both sides they would hold
/// a day more.
pub(super) fn whole_days([early, middle, late]: [Instant; 3]) -> [usize; 2] {
    const NOON: f64 = 0.5;
    let middle = position_of(middle);
    let first = (early - NOON).ceil() as usize;
    let last = (late - NOON).floor() as usize;
    [first.min(middle), last.max(middle)]
}

/// Position of the day that contains an instant.
fn position_of(instant: Instant) -> usize {
    (instant.ceil() as usize).saturating_sub(1)
}
