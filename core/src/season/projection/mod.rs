//! From heat so far to a date: this season's heat, continued by each past year of the station as
//! that year would run in this one. One past year gives one instant for a mark; all of them give a
//! middle and a range.

mod outlook;
mod range;
mod shift;
mod trajectory;

pub(super) use outlook::Outlook;
pub(super) use range::{NORMAL_QUANTILE, WeatherRange};
pub use shift::Shift;
use trajectory::days_of;
pub(super) use trajectory::{Instant, Reached, Trajectory, day_of};

use chrono::NaiveDate;

use crate::heat::HeatSeries;
use crate::insect::{Mark, SpreadSource};
use crate::temperature::DegreeDays;

use range::{middle, weather_range};

/// With fewer past years than this the projection says so. Common practice, no source. Its range is
/// the wider, the fewer they are.
pub const FEW_PAST_YEARS: usize = 8;

/// When a mark is projected for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Projection {
    /// First day of the range: weather, the insect's spread and the days of the start and of hull split
    /// together. It may lie behind: only the weather's part is known to lie ahead.
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
    /// Where the insect's spread in the range comes from.
    pub spread: SpreadSource,
    /// Whether the range reaches back to days that are known: what the mark stands for may have begun.
    pub may_have_begun: bool,
    /// How the past years were moved to this one.
    pub shift: Shift,
    /// How many forecast days come before those of past years.
    pub forecast_days: usize,
}

/// Levels at which a mark may be reached: at its own degree-days, and at the ends of what four of five are
/// within, the insect's spread and the days of the start and of hull split together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Levels {
    pub(super) at: f64,
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Levels {
    /// Of one level that nothing spreads.
    pub(super) const fn exactly(level: f64) -> Self {
        Self {
            at: level,
            low: level,
            high: level,
        }
    }

    /// A mark's degree-days on: its own spread and the one before add as squares.
    pub(super) fn after(self, mark: &Mark) -> Self {
        let at = self.at + mark.at.fahrenheit_days();
        let own = |side: DegreeDays| NORMAL_QUANTILE * side.fahrenheit_days();
        Self {
            at,
            low: at - (self.at - self.low).hypot(own(mark.spread.below)),
            high: at + (self.high - self.at).hypot(own(mark.spread.above)),
        }
    }

    /// The later of both.
    pub(super) fn max(self, other: Self) -> Self {
        Self {
            at: self.at.max(other.at),
            low: self.low.max(other.low),
            high: self.high.max(other.high),
        }
    }
}

/// The instants of one past year, at each of the levels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Crossings {
    at: Instant,
    low: Instant,
    high: Instant,
    /// Whether the mark itself is reached before the year ends.
    reached: bool,
}

impl Crossings {
    /// Of one trajectory; `None` where its past year has a gap on the way. A level not reached
    /// stands at the year's end, so that slow years count as slow.
    pub(super) fn of(trajectory: &Trajectory<'_>, levels: Levels) -> Option<Self> {
        let end = trajectory.end();
        let instant = |level| trajectory.reaches(level).or_end(end);
        let at = trajectory.reaches(levels.at);
        Some(Self {
            at: at.or_end(end)?,
            low: instant(levels.low)?,
            high: instant(levels.high)?,
            reached: matches!(at, Reached::At(_)),
        })
    }

    /// Of one trajectory and a single level.
    pub(super) fn of_level(trajectory: &Trajectory<'_>, level: f64) -> Option<Self> {
        Self::of(trajectory, Levels::exactly(level))
    }

    /// At the low end of its levels, at its own degree-days, and at the high end.
    pub(super) const fn spread(&self) -> [Instant; 3] {
        [self.low, self.at, self.high]
    }
}

/// Joins the past years' instants to a middle and a range, or counts the years in which the mark is
/// not reached when they are half or more.
pub(super) fn join(
    heat: &HeatSeries,
    outlook: &Outlook,
    years: &[Crossings],
    spread: SpreadSource,
) -> Result<Projection, usize> {
    let (weather, not_reached) = weather(heat, outlook, years)?;
    let (early, late) = joined(&weather, years);
    let late = late.min(outlook.end() as f64);
    let [early, late] = days_of(heat, [early, weather.middle, late]);
    Ok(Projection {
        early,
        middle: day_of(heat, weather.middle),
        late,
        weather_early: first_day(heat, weather.early),
        weather_late: day_of(heat, weather.late),
        past_years: years.len(),
        not_reached,
        spread,
        may_have_begun: early < heat.date(heat.len()),
        shift: outlook.shift(),
        forecast_days: outlook.forecast_days(),
    })
}

/// The range by weather alone and the count of years in which the mark is not reached, or only that
/// count when they are half or more.
pub(super) fn weather(
    heat: &HeatSeries,
    outlook: &Outlook,
    years: &[Crossings],
) -> Result<(WeatherRange, usize), usize> {
    let not_reached = years.iter().filter(|year| !year.reached).count();
    if not_reached * 2 >= years.len() {
        return Err(not_reached);
    }
    let instants: Vec<Instant> = years.iter().map(|year| year.at).collect();
    let end = outlook.end() as f64;
    let mut range = weather_range(&instants, heat.len() as f64, end);
    // How late those years would be is not known; more than one in ten are beyond the range's end.
    if not_reached * 10 > years.len() {
        range.late = end;
    }
    Ok((range, not_reached))
}

/// Weather, the insect's spread and the days of the start and of hull split together: to each side of the
/// middle independent sources add as squares (JCGM 100:2008, *Guide to the expression of uncertainty in
/// measurement*, 5.1.2).
fn joined(weather: &WeatherRange, years: &[Crossings]) -> (Instant, Instant) {
    let typical = |pick: fn(&Crossings) -> Instant| middle(years.iter().map(pick).collect());
    let beside = |pick| (weather.middle - typical(pick)).abs();
    let before = (weather.middle - weather.early).hypot(beside(|year| year.low));
    let after = (weather.late - weather.middle).hypot(beside(|year| year.high));
    (weather.middle - before, weather.middle + after)
}

/// The day on which a range by weather alone begins. By the days that are known the mark is not reached, so
/// none begins on one of them.
pub(super) fn first_day(heat: &HeatSeries, instant: Instant) -> NaiveDate {
    day_of(heat, instant.max(heat.len() as f64 + 1.0))
}

#[cfg(test)]
mod tests;
