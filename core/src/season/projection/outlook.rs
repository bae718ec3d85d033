//! What each past year of a station says of the rest of this one, worked out once for all its blocks.

use chrono::{Datelike, NaiveDate};

use crate::heat::HeatSeries;
use crate::same_day::same_day;

use super::shift::{PastYear, Shift};

/// No day gains more than its own heat again, so that days without heat stay so: what warming adds
/// to a summer's day is not there in winter. Makes no difference to the seasons up to 2004.
const AT_MOST_TIMES: f64 = 2.0;

/// The rest of the year by each past year, moved to this year's climate and warmth so far.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::season) struct Outlook {
    shift: Shift,
    forecast_days: usize,
    end: usize,
    continuations: Vec<Vec<f64>>,
}

impl Outlook {
    /// For a season of which all of `heat` is known, and after it the daily heat that is forecast.
    pub(in crate::season) fn new(heat: &HeatSeries, year: i32, forecast: &[f64]) -> Self {
        let last = NaiveDate::from_ymd_opt(year, 12, 31).and_then(|last| heat.position(last));
        let end = last.map_or(heat.len(), |last| last + 1).max(heat.len());
        let past = past_years(heat, year);
        let shift = Shift::new(heat, year, &past);
        let carried: Vec<f64> = (0..end - heat.len())
            .map(|ahead| shift.carried(heat.date(heat.len() + ahead), ahead))
            .collect();
        let continuations = past
            .iter()
            .map(|past| {
                let warming = shift.trend.fahrenheit_days() * f64::from(year - past.year);
                continuation(heat, past.position, warming, &carried, forecast)
            })
            .filter(|levels| levels.len() > 1)
            .collect();
        Self {
            shift,
            forecast_days: forecast.len(),
            end,
            continuations,
        }
    }

    /// How this year differs from the past years.
    pub(in crate::season) const fn shift(&self) -> Shift {
        self.shift
    }

    /// How many days are forecast before past years go on.
    pub(super) const fn forecast_days(&self) -> usize {
        self.forecast_days
    }

    /// Position after the season's last day.
    pub(super) const fn end(&self) -> usize {
        self.end
    }

    /// For each past year the heat gained after 0, 1, 2 … days from the first one not known, as far
    /// as that year has no gap.
    pub(super) fn continuations(&self) -> impl Iterator<Item = &[f64]> {
        self.continuations.iter().map(Vec::as_slice)
    }
}

/// The years before `year`, oldest first, with the day in each that stands for the first one not
/// known.
fn past_years(heat: &HeatSeries, year: i32) -> Vec<PastYear> {
    let next = heat.date(heat.len());
    (heat.first().year()..year)
        .filter_map(|year| {
            let position = heat.position(same_day(next, year)?)?;
            Some(PastYear { year, position }).filter(|past| past.position < heat.len())
        })
        .collect()
}

/// Forecast days, then the days of a past year from `past` on, each moved by the warming since and
/// by the warmth carried over.
fn continuation(
    heat: &HeatSeries,
    past: usize,
    warming: f64,
    carried: &[f64],
    forecast: &[f64],
) -> Vec<f64> {
    let mut level = 0.0;
    let mut levels = vec![level];
    for (ahead, carried) in carried.iter().enumerate() {
        let moved = || {
            let daily = heat.daily(past + ahead)?;
            Some((daily + warming + carried).clamp(0.0, AT_MOST_TIMES * daily))
        };
        let Some(daily) = forecast.get(ahead).copied().or_else(moved) else {
            break;
        };
        level += daily;
        levels.push(level);
    }
    levels
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_29th_of_february_falls_to_the_28th() {
        let leap = NaiveDate::from_ymd_opt(2020, 2, 29).unwrap();
        assert_eq!(same_day(leap, 2019), NaiveDate::from_ymd_opt(2019, 2, 28));
    }
}
