//! Filling: what is missing is estimated from the fall-back stations, else between the days around
//! the gap, else from the station's own climate.
//!
//! All three work on departures from what is usual for the time of year, in standard deviations of
//! single days, element by element (DeGaetano, Eggleston & Knapp 1995 fill departures from normals
//! too). Every estimate carries its method and its expected error, and the constants were chosen on
//! eight records of the San Joaquin Valley up to 2004.

mod bridge;
mod fall_backs;

pub(super) use fall_backs::differences;

use chrono::NaiveDate;

use crate::temperature::{Extremes, Temperature, Unit};

use super::screen::Departures;
use super::{
    Cell, Climate, CompletedDay, CompletedSeries, Element, Estimate, FillMethod, Origin, Record,
};

/// The station's own climate stands in for so many missing days running at most; a longer gap stays
/// open. Common practice, no source.
const LONGEST_BRIDGED_GAP_DAYS: usize = 30;
/// Without a climate a straight line is drawn across so many days at most. Common practice, no
/// source.
const LONGEST_STRAIGHT_GAP_DAYS: usize = 5;

/// An estimated departure, in standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Guess {
    departure: f64,
    variance: f64,
    method: FillMethod,
}

/// Completes a screened record, whose departures are `own`, as known before `as_of`; `fall_backs` are the
/// departures at the station's fall-backs. They may go on where the record ends, everything else only
/// fills gaps between two known days. `None` when no day is usable.
pub(super) fn fill(
    record: &Record,
    climate: &Climate,
    own: &[Departures; 2],
    fall_backs: &[&[Departures; 2]],
    as_of: NaiveDate,
) -> Option<CompletedSeries> {
    let to_come = usize::try_from((as_of - record.first()).num_days()).unwrap_or(0);
    let calendar_days = match fall_backs.is_empty() {
        true => record.len(),
        false => to_come.max(record.len()),
    };
    let [min, max] = Element::ALL.map(|element| {
        let of_element = Departures::of_element(fall_backs, element);
        let own = &own[element as usize];
        completed(record, climate, own, &of_element, calendar_days)
    });
    let days: Vec<Option<CompletedDay>> = min
        .into_iter()
        .zip(max)
        .map(|(min, max)| day(min?, max?))
        .collect();
    let first = days.iter().position(Option::is_some)?;
    let last = days.iter().rposition(Option::is_some)?;
    Some(CompletedSeries::new(
        record.date(first),
        days[first..=last].to_vec(),
    ))
}

/// An estimate never crosses the other temperature of its day.
fn day((min, min_origin): (f64, Origin), (max, max_origin): (f64, Origin)) -> Option<CompletedDay> {
    let (min, max) = match min_origin.estimate() {
        Some(_) => (min.min(max), max),
        None => (min, max.max(min)),
    };
    let temperature = |value| Temperature::new(value, Unit::Fahrenheit);
    Some(CompletedDay {
        extremes: Extremes::new(temperature(min)?, temperature(max)?)?,
        min: min_origin,
        max: max_origin,
    })
}

/// One element's temperatures on so many days from the record's first one, °F.
fn completed(
    record: &Record,
    climate: &Climate,
    own: &Departures,
    fall_backs: &[&Departures],
    days: usize,
) -> Vec<Option<(f64, Origin)>> {
    let cells = record.cells(own.element).iter();
    let mut values: Vec<Option<(f64, Origin)>> = cells.map(|cell| known(*cell)).collect();
    values.resize(days, None);
    if values.iter().all(Option::is_some) {
        return values;
    }
    for (at, guess) in guesses(own, fall_backs, days).into_iter().enumerate() {
        if let (None, Some(guess)) = (values[at], guess) {
            let (usual, deviation) = own.scale(climate, record.date(at));
            let estimate = Estimate {
                method: guess.method,
                error_f: deviation * guess.variance.sqrt(),
            };
            let value = usual + deviation * guess.departure;
            values[at] = Some((value, Origin::Estimated(estimate)));
        }
    }
    values
}

fn known(cell: Cell) -> Option<(f64, Origin)> {
    match cell {
        Cell::Usable(value) => Some((value, Origin::Measured)),
        Cell::ByHand(value) => Some((value, Origin::ByHand)),
        Cell::Missing | Cell::Suspect(..) => None,
    }
}

/// Estimates for the missing days of a calendar: first from fall-backs, then between what is known
/// or estimated by then.
fn guesses(own: &Departures, fall_backs: &[&Departures], days: usize) -> Vec<Option<Guess>> {
    let Some(first) = own.of.iter().position(Option::is_some) else {
        return vec![None; days];
    };
    let mut guesses = fall_backs::guesses(own, fall_backs, days);
    // Nothing was read before the first day, and what stands in begins no record.
    guesses[..first].fill(None);
    let gap_days = if own.from_climate {
        LONGEST_BRIDGED_GAP_DAYS
    } else {
        LONGEST_STRAIGHT_GAP_DAYS
    };
    bridge::fill(own, &mut guesses, gap_days);
    guesses
}

#[cfg(test)]
mod tests;
