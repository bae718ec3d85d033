//! From heat so far to a date: this season's heat, continued by each past year of the station.
//!
//! Heat is a level that rises with time, and a mark is a level to reach. One past year gives one
//! continuation and one instant; all of them give a middle and a range.

use chrono::{Datelike, Days, NaiveDate};

use crate::heat::HeatSeries;

/// With fewer past years than this the projection says so and widens. Common practice, no source.
pub const FEW_PAST_YEARS: usize = 8;
/// The range people see is meant to hold four of five years, one in ten to each side.
const LOWER_SHARE: f64 = 0.1;
const UPPER_SHARE: f64 = 0.9;

/// When a mark is projected for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Projection {
    /// First day of the range: weather, the insect's published spread and the check interval of
    /// the start together.
    pub early: NaiveDate,
    /// The middle of the past years, at the mark's own degree-days.
    pub middle: NaiveDate,
    /// Last day of the range.
    pub late: NaiveDate,
    /// First day by weather alone.
    pub weather_early: NaiveDate,
    /// Last day by weather alone.
    pub weather_late: NaiveDate,
    /// How many past years of the station it rests on.
    pub past_years: usize,
    /// In how many of them the mark is not reached before the year ends.
    pub not_reached: usize,
    /// Whether the insect's own spread is published and in the range.
    pub insect_spread: bool,
}

/// An instant on a series' calendar: position of a day plus the share of it that has gone.
pub(super) type Instant = f64;

/// A season's heat from its first known day to the end of its year.
#[derive(Clone, Copy)]
pub(super) struct Trajectory<'a> {
    heat: &'a HeatSeries,
    /// Position after the newest day known.
    known: usize,
    /// Position in a past year that stands for `known`; without it there is no continuation.
    past: Option<usize>,
    /// Position after the season's last day.
    end: usize,
}

impl<'a> Trajectory<'a> {
    /// Only what is known.
    pub(super) fn known(heat: &'a HeatSeries, year: i32) -> Self {
        let end = NaiveDate::from_ymd_opt(year, 12, 31).and_then(|last| heat.position(last));
        Self {
            heat,
            known: heat.len(),
            past: None,
            end: end.map_or(heat.len(), |last| last + 1),
        }
    }

    /// What is known, continued by each earlier year of the same station, oldest first. Years align
    /// by month and day, 29 February falling to the 28th.
    pub(super) fn continued(heat: &'a HeatSeries, year: i32) -> Vec<Self> {
        let known = Self::known(heat, year);
        let next = heat.date(heat.len());
        (heat.first().year()..year)
            .filter_map(|past_year| heat.position(same_day_in(past_year, next)?))
            .map(|past| Self {
                past: Some(past),
                ..known
            })
            .collect()
    }

    /// The level at the beginning of a day; `None` beyond what the trajectory covers.
    pub(super) fn level_at(&self, day: NaiveDate) -> Option<f64> {
        let position = self.heat.position(day)?;
        if position <= self.known {
            return Some(self.heat.level(position));
        }
        let past = self.past?;
        let there = past + (position - self.known);
        if position > self.end || there > self.known || self.heat.first_hole(past, there).is_some()
        {
            return None;
        }
        Some(self.heat.level(self.known) + self.heat.level(there) - self.heat.level(past))
    }

    /// When the level is reached.
    pub(super) fn reaches(&self, level: f64) -> Reached {
        if level <= self.heat.level(self.known) {
            return self
                .heat
                .crossing(0, level)
                .map_or(Reached::Unknown, Reached::At);
        }
        let Some(past) = self.past else {
            return Reached::Unknown;
        };
        let last = past + (self.end - self.known);
        let missing = level - self.heat.level(self.known);
        let there = self.heat.crossing(past, self.heat.level(past) + missing);
        match there.filter(|there| *there <= last as f64) {
            Some(there) if self.is_whole(past, there.ceil() as usize) => {
                Reached::At(self.known as f64 + (there - past as f64))
            }
            None if self.is_whole(past, last) => Reached::NotThisYear,
            _ => Reached::Unknown,
        }
    }

    /// Whether a stretch of a past year is there without a gap.
    fn is_whole(&self, start: usize, end: usize) -> bool {
        end <= self.known && self.heat.first_hole(start, end).is_none()
    }

    /// The instant at which the season ends.
    pub(super) const fn end(&self) -> Instant {
        self.end as f64
    }
}

/// When a trajectory reaches a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Reached {
    /// At this instant.
    At(Instant),
    /// Not before the year ends.
    NotThisYear,
    /// The past year has a gap on the way, or nothing continues the season.
    Unknown,
}

impl Reached {
    /// The instant; the end of the season where it is not reached before.
    fn or_end(self, end: Instant) -> Option<Instant> {
        match self {
            Self::At(instant) => Some(instant),
            Self::NotThisYear => Some(end),
            Self::Unknown => None,
        }
    }
}

/// The day that contains an instant. This is the one place where instants are rounded to printed
/// days; since whole days are printed, the range they span reaches outward to both sides.
pub(super) fn day_of(heat: &HeatSeries, instant: Instant) -> NaiveDate {
    heat.date((instant.ceil() as usize).saturating_sub(1))
}

/// The instants of one past year.
#[derive(Debug, Clone, Copy)]
pub(super) struct Crossings {
    /// At the low end of the insect's spread, from the earliest day the start allows.
    low: Instant,
    /// At the mark itself.
    at: Instant,
    /// At the high end of the insect's spread.
    high: Instant,
    /// Whether the mark itself is reached before the year ends.
    reached: bool,
}

impl Crossings {
    /// Of one trajectory, at three levels; `None` where its past year has a gap on the way. A level
    /// not reached stands at the year's end, so that slow years count as slow.
    pub(super) fn of(trajectory: &Trajectory<'_>, low: f64, at: f64, high: f64) -> Option<Self> {
        let end = trajectory.end();
        let reached = trajectory.reaches(at);
        Some(Self {
            low: trajectory.reaches(low).or_end(end)?,
            at: reached.or_end(end)?,
            high: trajectory.reaches(high).or_end(end)?,
            reached: matches!(reached, Reached::At(_)),
        })
    }
}

/// Joins the past years' instants to a middle and a range, or counts the years in which the mark is
/// not reached when they are half or more.
pub(super) fn join(
    heat: &HeatSeries,
    years: &[Crossings],
    insect_spread: bool,
) -> Result<Projection, usize> {
    let not_reached = years.iter().filter(|year| !year.reached).count();
    if not_reached * 2 >= years.len() {
        return Err(not_reached);
    }
    let sorted = |pick: fn(&Crossings) -> Instant| {
        let mut instants: Vec<Instant> = years.iter().map(pick).collect();
        instants.sort_by(f64::total_cmp);
        instants
    };
    let (low, at, high) = (sorted(|c| c.low), sorted(|c| c.at), sorted(|c| c.high));
    let widening = widening(years.len());
    // By the days that are known the mark is not reached, so no range begins on one of them.
    let first_unknown = heat.len() as f64 + 1.0;
    let early = |instants: &[Instant]| {
        let instant = quantile(instants, LOWER_SHARE) - widening;
        day_of(heat, instant.max(first_unknown))
    };
    let late = |instants: &[Instant]| day_of(heat, quantile(instants, UPPER_SHARE) + widening);
    Ok(Projection {
        early: early(&low),
        middle: day_of(heat, quantile(&at, 0.5)),
        late: late(&high),
        weather_early: early(&at),
        weather_late: late(&at),
        past_years: years.len(),
        not_reached,
        insect_spread,
    })
}

/// Days added to each side where there are few past years: a day with eight of them missing one
/// side, eight days with one alone. Common practice, no source.
fn widening(past_years: usize) -> f64 {
    if past_years < FEW_PAST_YEARS {
        FEW_PAST_YEARS as f64 / past_years.max(1) as f64
    } else {
        0.0
    }
}

/// The quantile of sorted values by linear interpolation (Hyndman & Fan 1996, *Am. Stat.* 50:361,
/// type 7).
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = share * (sorted.len() - 1) as f64;
    let below = sorted[place.floor() as usize];
    let above = sorted[place.ceil() as usize];
    below + (above - below) * place.fract()
}

fn same_day_in(year: i32, day: NaiveDate) -> Option<NaiveDate> {
    day.with_year(year)
        .or_else(|| day.checked_sub_days(Days::new(1))?.with_year(year))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_those_of_numpy() {
        // numpy.quantile([1, 2, 4, 8, 16], [0.1, 0.5, 0.9]), the default method.
        let sorted = [1.0, 2.0, 4.0, 8.0, 16.0];
        let got = [0.1, 0.5, 0.9].map(|share| quantile(&sorted, share));
        for (got, expected) in got.iter().zip([1.4, 4.0, 12.8]) {
            assert!((got - expected).abs() < 1e-12, "{got} {expected}");
        }
        assert!((quantile(&[5.0], 0.9) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn the_29th_of_february_falls_to_the_28th() {
        let leap = NaiveDate::from_ymd_opt(2020, 2, 29).unwrap();
        assert_eq!(
            same_day_in(2019, leap),
            NaiveDate::from_ymd_opt(2019, 2, 28)
        );
    }

    #[test]
    fn few_past_years_widen_and_eight_do_not() {
        assert!((widening(1) - 8.0).abs() < 1e-12);
        assert!((widening(4) - 2.0).abs() < 1e-12);
        assert!(widening(8).abs() < 1e-12);
    }
}
