//! Screening: values that cannot be trusted are marked, kept and never used.
//!
//! The checks and their order follow the idea of Durre, Menne, Gleason, Houston & Vose 2010, *J. Appl.
//! Meteorol. Climatol.* 49:1615-1633: first what is impossible, then what does not fit the days around,
//! the time of year and the stations around, each with a limit so wide that hardly a true value is
//! lost. Departures are from the station's own climate, in its standard deviations of single days,
//! so that one limit serves all seasons and stations. The limits were chosen on ten records of the
//! San Joaquin Valley, mostly up to 2004 but not blind to the years since: that no more than one true
//! value in 2,000 is lost, and that a wrong maximum of Merced in 2011 is found, was looked at on all
//! years.

mod departures;

use departures::Apart;
pub(super) use departures::Departures;

use super::{Cell, Climate, Element, Record};

/// A sensor that gives one and the same value on so many days running is stuck.
const STUCK_DAYS: usize = 15;
/// A value so far from what is usual for the time of year was not read in this climate. Up to
/// 2004 true maxima went to 4.5, at one station, once errors are left out.
const BEYOND_CLIMATE: f64 = 5.0;
/// A value so far from what the days on both sides let expect, and beyond both, is a spike.
const SPIKE: f64 = 3.2;
/// What is this far from usual beside a value that cannot be is of the same failing sensor.
const BESIDE_FAILURE: f64 = 3.0;
/// A minimum of exactly zero so far below what the days around let expect is a logger that was reset.
const FALSE_ZERO: f64 = 1.6;
/// A value so much farther from usual than at all of the fall-backs, on the day itself, the one
/// before and the one after, is not believed: an observer who reads in the morning labels a day late.
const APART_FROM_FALL_BACKS: f64 = 2.75;
/// Or less far apart, but so much farther than on the days beside.
const ALSO_APART: (f64, f64) = (1.5, 3.0);
/// What feeds round to: 0 °C and 0 °F within it are exactly zero, °F.
const ROUNDING_F: f64 = 0.05;

/// Why a value is not trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Suspicion {
    /// A value that no thermometer in the region has shown, or that is not a number.
    OutOfBounds,
    /// The minimum is above the maximum.
    MinAboveMax,
    /// The provider flagged a value as failed.
    FlaggedByProvider,
    /// The same value on fifteen days running or more.
    Stuck,
    /// Too far from what the station has shown at that time of year.
    BeyondClimate,
    /// Too far from the days on both sides.
    Spike,
    /// Unusual, and beside a value that cannot be.
    BesideFailure,
    /// A minimum of exactly zero, in °C or °F, on a day that was not that cold.
    FalseZero,
    /// Too far from what the fall-back stations show.
    ApartFromFallBacks,
}

impl Suspicion {
    /// The name in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::OutOfBounds => "out-of-bounds",
            Self::MinAboveMax => "min-above-max",
            Self::FlaggedByProvider => "flagged-by-provider",
            Self::Stuck => "stuck",
            Self::BeyondClimate => "beyond-climate",
            Self::Spike => "spike",
            Self::BesideFailure => "beside-failure",
            Self::FalseZero => "false-zero",
            Self::ApartFromFallBacks => "apart-from-fall-backs",
        }
    }

    /// Whether the sensor failed outright.
    const fn is_failure(self) -> bool {
        matches!(self, Self::OutOfBounds | Self::BeyondClimate)
    }
}

/// Judges the values of a record against each other and against the station's climate, and gives the
/// departures of those that are still trusted.
pub(super) fn screen(record: &mut Record, climate: &Climate) -> [Departures; 2] {
    Element::ALL.map(|element| {
        mark_stuck(record.cells_mut(element));
        let mut departures = Departures::new(record, climate, element);
        let zeros = judge_zeros(record, &mut departures);
        if departures.from_climate {
            mark(
                record,
                &mut departures,
                Suspicion::BeyondClimate,
                |departures, at| departures.of[at].is_some_and(|own| own.abs() > BEYOND_CLIMATE),
            );
        }
        mark(record, &mut departures, Suspicion::Spike, is_spike);
        for (at, own) in zeros {
            departures.of[at] = Some(own);
        }
        if departures.from_climate {
            mark_beside_failures(record, &mut departures);
        }
        departures
    })
}

/// Judges the values of a record, whose departures are given, against the departures at its fall-backs.
pub(super) fn compare(
    record: &mut Record,
    own: &mut [Departures; 2],
    fall_backs: &[&[Departures; 2]],
) {
    for departures in own.iter_mut().filter(|own| own.from_climate) {
        let of_element = Departures::of_element(fall_backs, departures.element);
        let apart = departures.apart_from(&of_element);
        mark(
            record,
            departures,
            Suspicion::ApartFromFallBacks,
            |_, at| apart[at].is_some_and(is_apart),
        );
    }
}

fn is_apart(apart: Apart) -> bool {
    let (distance, jump) = ALSO_APART;
    apart.from_three_days > APART_FROM_FALL_BACKS
        || (apart.from_three_days > distance && apart.jump > jump)
}

/// Marks usable values, which then are no neighbours for others any more.
fn mark(
    record: &mut Record,
    departures: &mut Departures,
    why: Suspicion,
    is_wrong: impl Fn(&Departures, usize) -> bool,
) {
    let wrong: Vec<usize> = (0..record.len())
        .filter(|at| is_wrong(departures, *at))
        .collect();
    for at in wrong {
        distrust(record, departures, at, why);
    }
}

fn distrust(record: &mut Record, departures: &mut Departures, at: usize, why: Suspicion) {
    let cell = &mut record.cells_mut(departures.element)[at];
    if let Cell::Usable(value) = *cell {
        *cell = Cell::Suspect(value, why);
        departures.of[at] = None;
    }
}

fn mark_stuck(cells: &mut [Cell]) {
    let same = |a: &Cell, b: &Cell| matches!((a, b), (Cell::Usable(a), Cell::Usable(b)) if a == b);
    for run in cells.chunk_by_mut(same) {
        if run.len() < STUCK_DAYS {
            continue;
        }
        for cell in run {
            if let Cell::Usable(value) = *cell {
                *cell = Cell::Suspect(value, Suspicion::Stuck);
            }
        }
    }
}

/// A failing sensor does not fail on one day only: from a value that cannot be, unusual ones are
/// followed, and the one on the day before it is not believed either. No verdict looks farther ahead
/// than a day.
fn mark_beside_failures(record: &mut Record, departures: &mut Departures) {
    let suspected = |record: &Record, departures: &Departures, at: usize| match record
        .cells(departures.element)[at]
    {
        Cell::Suspect(_, why) => Some(why),
        _ => None,
    };
    let unusual = |departures: &Departures, at: usize| {
        departures.of[at].is_some_and(|own| own.abs() > BESIDE_FAILURE)
    };
    for at in 1..record.len() {
        let failed = suspected(record, departures, at).is_some_and(Suspicion::is_failure);
        if failed && unusual(departures, at - 1) {
            distrust(record, departures, at - 1, Suspicion::BesideFailure);
        }
    }
    for at in 1..record.len() {
        let goes_on = |why: Suspicion| why.is_failure() || why == Suspicion::BesideFailure;
        if suspected(record, departures, at - 1).is_some_and(goes_on) && unusual(departures, at) {
            distrust(record, departures, at, Suspicion::BesideFailure);
        }
    }
}

/// Marks false zeros and gives the true ones. Zeros are judged first, since that says more than "unusual"
/// would, and are no neighbours for any other check: a logger may be reset on two days running, and whether
/// a zero is true is not known before the day after it.
fn judge_zeros(record: &mut Record, departures: &mut Departures) -> Vec<(usize, f64)> {
    if departures.element == Element::Max {
        return Vec::new();
    }
    let is_zero = |cell: &Cell| matches!(cell, Cell::Usable(value) if is_zero(*value));
    let cells = record.cells(Element::Min).iter().enumerate();
    let zeros: Vec<(usize, f64)> = cells
        .filter(|(_, cell)| is_zero(cell))
        .filter_map(|(at, _)| Some((at, departures.of[at].take()?)))
        .collect();
    let is_true = |&(at, own): &(usize, f64)| {
        // Without a day beside it only the time of year can tell.
        let expected = departures.expected(at);
        let expected = expected.or(departures.from_climate.then_some(0.0));
        expected.is_none_or(|expected| own >= expected - FALSE_ZERO)
    };
    let (kept, wrong): (Vec<_>, Vec<_>) = zeros.into_iter().partition(is_true);
    for (at, _) in wrong {
        distrust(record, departures, at, Suspicion::FalseZero);
    }
    kept
}

/// 0 °C or 0 °F.
fn is_zero(value_f: f64) -> bool {
    value_f.abs() < ROUNDING_F || (value_f - 32.0).abs() < ROUNDING_F
}

/// A value beyond both neighbours and far from what they let expect. A day at the end of what is
/// known has no day after it, and so is no spike yet.
fn is_spike(departures: &Departures, at: usize) -> bool {
    let (Some(own), Some((before, after))) = (departures.of[at], departures.both_sides(at)) else {
        return false;
    };
    let beyond = (own > before && own > after) || (own < before && own < after);
    let expected = departures.carried * f64::midpoint(before, after);
    beyond && (own - expected).abs() > SPIKE
}

#[cfg(test)]
mod tests;
