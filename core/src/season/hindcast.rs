//! What the projection would have said on an earlier day, and what came of it.

use chrono::{Datelike, NaiveDate};

use crate::heat::HeatSeries;
use crate::temperature::DegreeDays;

use super::projection::{Crossings, Instant, Reached, Trajectory, day_of, first_day, weather};
use super::{StationHeat, WhyNot};

/// A projection by weather alone as exact instants: days of the year with their share gone, 160.25
/// being a quarter into the 160th day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProjectedCrossing {
    /// Beginning of the range.
    pub early: f64,
    /// Middle.
    pub middle: f64,
    /// End of the range.
    pub late: f64,
    /// The days that are printed for them: first, middle and last.
    pub printed: [NaiveDate; 3],
    /// How many past years it rests on.
    pub past_years: usize,
}

/// When degree-days were reached indeed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueCrossing {
    /// The instant as a day of the year with its share gone.
    pub at: f64,
    /// The day that is printed for it.
    pub printed: NaiveDate,
    /// The share of estimated days among those from the start to it.
    pub estimated_share: f64,
}

/// Why there is no such instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyNoCrossing {
    /// There is no heat to go by, or past years do not reach it.
    NoHeat(WhyNot),
    /// The start is still to come.
    StartAhead,
    /// It is reached by the days known.
    Reached,
    /// It is not reached by the days known.
    NotReached,
}

impl From<WhyNot> for WhyNoCrossing {
    fn from(why: WhyNot) -> Self {
        Self::NoHeat(why)
    }
}

/// Projects when degree-days from a start, which counts, reach a target, by the days known to `heat`
/// and with the very projection that marks have.
///
/// # Errors
/// Why there is none: the start is not known, the target is reached by then, days are missing, or
/// too many of the past years do not reach it.
pub fn projected_crossing(
    heat: &StationHeat,
    start: NaiveDate,
    target: DegreeDays,
) -> Result<ProjectedCrossing, WhyNoCrossing> {
    let (series, outlook) = heat.outlook()?;
    let level = level_of(heat, series, start, target)?;
    if level <= series.level(series.len()) {
        return Err(WhyNoCrossing::Reached);
    }
    let years: Vec<Crossings> = Trajectory::continued(series, outlook)
        .filter_map(|trajectory| Crossings::of_level(&trajectory, level))
        .collect();
    let (range, _) =
        weather(series, outlook, &years).map_err(|not_reached| WhyNot::NotReached {
            years: not_reached,
            of: years.len(),
        })?;
    let year = heat.as_of().year();
    Ok(ProjectedCrossing {
        early: day_of_year(series, year, range.early),
        middle: day_of_year(series, year, range.middle),
        late: day_of_year(series, year, range.late),
        printed: [
            first_day(series, range.early),
            day_of(series, range.middle),
            day_of(series, range.late),
        ],
        past_years: years.len(),
    })
}

/// When degree-days from a start, which counts, reach a target in the days known to `heat`.
///
/// # Errors
/// Why there is none: the start is not known, days are missing, or it is not reached.
pub fn true_crossing(
    heat: &StationHeat,
    start: NaiveDate,
    target: DegreeDays,
) -> Result<TrueCrossing, WhyNoCrossing> {
    let (series, _) = heat.known()?;
    let level = level_of(heat, series, start, target)?;
    let Reached::At(instant) = Trajectory::known(series).reaches(level) else {
        return Err(WhyNoCrossing::NotReached);
    };
    let printed = day_of(series, instant);
    let sum = series.sum(start, printed).map_err(|hole| heat.hole(hole))?;
    let days = (printed - start).num_days() + 1;
    Ok(TrueCrossing {
        at: day_of_year(series, start.year(), instant),
        printed,
        estimated_share: f64::from(sum.estimated_days) / days as f64,
    })
}

/// The level that a target from a start is; the days known in between are whole.
fn level_of(
    heat: &StationHeat,
    series: &HeatSeries,
    start: NaiveDate,
    target: DegreeDays,
) -> Result<f64, WhyNoCrossing> {
    let begin_after = WhyNot::BeginAfter {
        first: series.first(),
        from: start,
    };
    let first = series.position(start).ok_or(begin_after)?;
    if first > series.len() {
        return Err(WhyNoCrossing::StartAhead);
    }
    let level = series.level(first) + target.fahrenheit_days();
    let reached = series.crossing(first, level);
    let used = reached.map_or(series.len(), |instant| instant.ceil() as usize);
    match series.first_hole(first, used) {
        Some(hole) => Err(heat.hole(hole).into()),
        None => Ok(level),
    }
}

/// An instant as a day of the year; beyond its end the count goes on.
fn day_of_year(series: &HeatSeries, year: i32, instant: Instant) -> f64 {
    // Every year that a calendar of temperatures can name has a first of January.
    let first = NaiveDate::from_ymd_opt(year, 1, 1).unwrap_or(series.first());
    instant + (series.first() - first).num_days() as f64 + 1.0
}
