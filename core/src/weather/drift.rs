//! Whether a station's sensor seems to drift away from its fall-backs. No single day shows that, so it is
//! told as trouble and makes no value suspect.

use crate::statistics::mean;

use super::Element;

/// So many last days are set beside the year before them, and most of both must be known.
const LAST_DAYS: usize = 30;
const YEAR_BEFORE_DAYS: usize = 365;
const KNOWN_SHARE: f64 = 0.6;
/// A mean difference that changes by so much is told, °F. On eight records of the San Joaquin Valley that was
/// so on about one day in two hundred.
const TOLD_FROM_F: f64 = 3.0;

/// How much a sensor's last days differ from what the fall-backs let expect, more than in the year before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// Which of the day's temperatures.
    pub element: Element,
    /// By how much it reads higher than it used to, °F.
    pub by_f: f64,
}

impl Drift {
    /// From what the station differed from its fall-backs day by day, °F.
    pub(super) fn of(element: Element, differences: &[Option<f64>]) -> Option<Self> {
        let end = differences.iter().rposition(Option::is_some)? + 1;
        let last = end.checked_sub(LAST_DAYS)?;
        let before = last.checked_sub(YEAR_BEFORE_DAYS)?;
        let by_f =
            mean_of_most(&differences[last..end])? - mean_of_most(&differences[before..last])?;
        (by_f.abs() >= TOLD_FROM_F).then_some(Self { element, by_f })
    }
}

/// The mean where most are known.
fn mean_of_most(differences: &[Option<f64>]) -> Option<f64> {
    let known = || differences.iter().flatten().copied();
    let enough = known().count() as f64 >= KNOWN_SHARE * differences.len() as f64;
    mean(known()).filter(|_| enough)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A year about nothing, then thirty days of the same difference.
    fn differences(last: f64) -> Vec<Option<f64>> {
        let year = (0..YEAR_BEFORE_DAYS).map(|day| Some(if day % 2 == 0 { 1.0 } else { -1.0 }));
        year.chain((0..LAST_DAYS).map(|_| Some(last))).collect()
    }

    #[test]
    fn a_mean_that_moves_by_three_degrees_is_told() {
        let by = |last| Drift::of(Element::Min, &differences(last)).map(|drift| drift.by_f.round());
        assert_eq!(by(2.9), None);
        assert_eq!(by(4.0), Some(4.0));
        assert_eq!(by(-5.0), Some(-5.0));
    }

    #[test]
    fn few_known_days_say_nothing() {
        let mut last_missing = differences(9.0);
        for day in last_missing.iter_mut().rev().skip(1).step_by(2) {
            *day = None;
        }
        assert_eq!(Drift::of(Element::Max, &last_missing), None);
        assert_eq!(Drift::of(Element::Max, &differences(9.0)[200..]), None);
    }
}
