//! What the fall-backs let expect of a station, day by day.
//!
//! Each fall-back's departure is carried over by a straight line fitted to the days that both have, and
//! counts by the inverse of its error variance there (Hubbard & You 2005, *J. Atmos. Ocean. Technol.*
//! 22:1520-1531, call that a spatial regression). What the station differed from that on the days
//! around is then carried into the gap.

use super::Guess;
use crate::weather::FillMethod;
use crate::weather::screen::Departures;

/// A fall-back serves only where so many days of both are known. Common practice, no source.
const ENOUGH_COMMON_DAYS: f64 = 30.0;
/// A difference counts less by this factor for each day away.
const DIFFERENCE_KEEPS: f64 = 0.9;
/// So many days' worth of no difference are added, so that few days around say little.
const NO_DIFFERENCE_DAYS: f64 = 1.0;

/// How a fall-back has served.
struct Service<'a> {
    fall_back: &'a Departures,
    /// Days from the station's calendar to the fall-back's.
    offset: i64,
    slope: f64,
    shift: f64,
    /// Inverse of the error variance.
    weight: f64,
}

impl<'a> Service<'a> {
    fn new(own: &Departures, fall_back: &'a Departures) -> Option<Self> {
        let offset = own.offset_to(fall_back);
        let (mut n, mut x, mut y, mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for (at, own) in own.of.iter().enumerate() {
            let (Some(own), Some(there)) = (own, fall_back.at(at, offset)) else {
                continue;
            };
            n += 1.0;
            x += there;
            y += own;
            xx += there * there;
            xy += there * own;
            yy += own * own;
        }
        if n < ENOUGH_COMMON_DAYS {
            return None;
        }
        let (spread, common) = (xx - x * x / n, xy - x * y / n);
        let slope = if spread > 0.0 { common / spread } else { 0.0 };
        let error = (yy - y * y / n - slope * common) / n;
        Some(Self {
            fall_back,
            offset,
            slope,
            shift: (y - slope * x) / n,
            weight: 1.0 / error.max(1e-4),
        })
    }

    fn expects(&self, at: usize) -> Option<f64> {
        Some(self.shift + self.slope * self.fall_back.at(at, self.offset)?)
    }
}

/// Estimates for every day of a calendar on which a fall-back has a value, known days included.
pub(super) fn guesses(
    own: &Departures,
    fall_backs: &[&Departures],
    days: usize,
) -> Vec<Option<Guess>> {
    let expected = expected(own, fall_backs, days);
    let differences = differences_from(own, &expected);
    let around = Around::of(&differences);
    let error = Error::of(&differences, &around);
    let guess = |(at, expected): (usize, &Option<f64>)| {
        Some(Guess {
            departure: (*expected)? + around.difference(at),
            variance: error.variance(around.weight[at]),
            method: FillMethod::FallBacks,
        })
    };
    expected.iter().enumerate().map(guess).collect()
}

/// What a station differed from what its fall-backs let expect, day by day of its record.
pub(in crate::weather) fn differences(
    own: &Departures,
    fall_backs: &[&Departures],
) -> Vec<Option<f64>> {
    differences_from(own, &expected(own, fall_backs, own.of.len()))
}

fn differences_from(own: &Departures, expected: &[Option<f64>]) -> Vec<Option<f64>> {
    let dated = expected.iter().enumerate();
    dated
        .map(|(at, expected)| Some(own.at(at, 0)? - (*expected)?))
        .collect()
}

/// What the fall-backs let expect on each day of a calendar.
fn expected(own: &Departures, fall_backs: &[&Departures], days: usize) -> Vec<Option<f64>> {
    let services = fall_backs
        .iter()
        .filter_map(|other| Service::new(own, other));
    let services: Vec<Service<'_>> = services.collect();
    (0..days).map(|at| joint(&services, at)).collect()
}

/// The mean of what the fall-backs let expect, each by its weight.
fn joint(services: &[Service<'_>], at: usize) -> Option<f64> {
    let (mut sum, mut weights) = (0.0, 0.0);
    for service in services {
        if let Some(expected) = service.expects(at) {
            sum += service.weight * expected;
            weights += service.weight;
        }
    }
    (weights > 0.0).then(|| sum / weights)
}

/// Differences on the days around each day, itself left out.
struct Around {
    sum: Vec<f64>,
    weight: Vec<f64>,
}

impl Around {
    fn of(differences: &[Option<f64>]) -> Self {
        let mut around = Self {
            sum: vec![0.0; differences.len()],
            weight: vec![0.0; differences.len()],
        };
        around.pass(differences, 0..differences.len());
        around.pass(differences, (0..differences.len()).rev());
        around
    }

    fn pass(&mut self, differences: &[Option<f64>], order: impl Iterator<Item = usize>) {
        let (mut sum, mut weight) = (0.0, 0.0);
        for at in order {
            self.sum[at] += sum;
            self.weight[at] += weight;
            if let Some(difference) = differences[at] {
                sum += difference;
                weight += 1.0;
            }
            sum *= DIFFERENCE_KEEPS;
            weight *= DIFFERENCE_KEEPS;
        }
    }

    fn difference(&self, at: usize) -> f64 {
        self.sum[at] / (self.weight[at] + NO_DIFFERENCE_DAYS)
    }
}

/// What the estimates of known days got wrong, had they been missing.
struct Error {
    /// Mean square with the differences around, and without.
    with: f64,
    without: f64,
    /// How much of the differences around counted on the mean.
    counted: f64,
}

impl Error {
    fn of(differences: &[Option<f64>], around: &Around) -> Self {
        let mut error = Self {
            with: 0.0,
            without: 0.0,
            counted: 0.0,
        };
        let mut n = 0.0;
        for (at, difference) in differences.iter().enumerate() {
            let Some(difference) = difference else {
                continue;
            };
            n += 1.0;
            error.with += (difference - around.difference(at)).powi(2);
            error.without += difference * difference;
            error.counted += share(around.weight[at]);
        }
        let n = f64::max(n, 1.0);
        Self {
            with: error.with / n,
            without: error.without / n,
            counted: error.counted / n,
        }
    }

    /// In the middle of a long gap less of the differences around counts, and the error nears that
    /// without them.
    fn variance(&self, weight: f64) -> f64 {
        let counted = (share(weight) / self.counted.max(1e-9)).min(1.0);
        self.with + (self.without - self.with).max(0.0) * (1.0 - counted)
    }
}

fn share(weight: f64) -> f64 {
    weight / (weight + NO_DIFFERENCE_DAYS)
}
