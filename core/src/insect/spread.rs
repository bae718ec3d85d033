//! How far the degree-days of a mark scatter from year to year and from nut to nut.

use crate::temperature::{DegreeDays, Unit};

use super::degree_days;

/// A published range is read as the span that holds nine of ten: the normal quantile of 0.95.
const RANGE_QUANTILE: f64 = 1.644_853_626_951;
/// What is assumed of a mark without a published spread: that of the second generation's egg laying, 90 of
/// 1056 °F-days, in proportion. Assumed; no source gives one.
const ASSUMED_SHARE: f64 = 90.0 / 1056.0;

/// How far a mark's own degree-days scatter, as one standard deviation to each side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Towards fewer degree-days.
    pub below: DegreeDays,
    /// Towards more.
    pub above: DegreeDays,
    /// Where it comes from.
    pub source: SpreadSource,
}

/// Where a spread comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpreadSource {
    /// It is published with the mark.
    Published,
    /// None is published, and one is assumed.
    Assumed,
    /// Of several that are joined some are published and some assumed.
    PartlyAssumed,
}

impl SpreadSource {
    /// That of two spreads joined.
    #[must_use]
    pub fn joined(self, other: Self) -> Self {
        match self == other {
            true => self,
            false => Self::PartlyAssumed,
        }
    }
}

/// A spread as an insect file gives it, beside the mark's degree-days.
#[derive(Clone, Copy)]
pub(super) struct SpreadFile {
    pub(super) at: f64,
    /// Published, from the fewest to the most.
    pub(super) range: Option<[f64; 2]>,
    /// Published, one standard deviation.
    pub(super) published: Option<f64>,
    /// Assumed, one standard deviation.
    pub(super) assumed: Option<f64>,
}

impl SpreadFile {
    /// The spread; `None` where it is given twice, or is not above zero and below the degree-days.
    pub(super) fn check(&self, unit: Unit) -> Option<Spread> {
        let (below, above, source) = match (self.range, self.published, self.assumed) {
            (Some([low, high]), None, None) => {
                let side = |width: f64| width / RANGE_QUANTILE;
                (
                    side(self.at - low),
                    side(high - self.at),
                    SpreadSource::Published,
                )
            }
            (None, Some(sd), None) => (sd, sd, SpreadSource::Published),
            (None, None, Some(sd)) => (sd, sd, SpreadSource::Assumed),
            (None, None, None) => {
                let sd = self.at * ASSUMED_SHARE;
                (sd, sd, SpreadSource::Assumed)
            }
            _ => return None,
        };
        let usable = |sd: f64| sd > 0.0 && sd < self.at;
        (usable(below) && usable(above)).then(|| Spread {
            below: degree_days(below, unit),
            above: degree_days(above, unit),
            source,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NONE: SpreadFile = SpreadFile {
        at: 1056.0,
        range: None,
        published: None,
        assumed: None,
    };

    fn sides(file: SpreadFile) -> Option<(f64, f64, SpreadSource)> {
        let spread = file.check(Unit::Fahrenheit)?;
        let rounded = |sum: DegreeDays| (sum.fahrenheit_days() * 10.0).round() / 10.0;
        Some((rounded(spread.below), rounded(spread.above), spread.source))
    }

    #[test]
    fn a_published_range_holds_nine_of_ten() {
        // Rijal 2018: 700 on average, 500 to 900 possible, around 723: 223 and 177 over 1.6449.
        let new_crop = SpreadFile {
            at: 723.0,
            range: Some([500.0, 900.0]),
            ..NONE
        };
        assert_eq!(
            sides(new_crop),
            Some((135.6, 107.6, SpreadSource::Published))
        );
    }

    #[test]
    fn without_a_published_spread_one_is_assumed_in_proportion() {
        assert_eq!(sides(NONE), Some((90.0, 90.0, SpreadSource::Assumed)));
        let summer = SpreadFile { at: 1700.0, ..NONE };
        assert_eq!(sides(summer), Some((144.9, 144.9, SpreadSource::Assumed)));
        let given = SpreadFile {
            assumed: Some(80.0),
            ..NONE
        };
        assert_eq!(sides(given), Some((80.0, 80.0, SpreadSource::Assumed)));
    }

    #[test]
    fn a_spread_is_given_once_and_below_the_degree_days() {
        let twice = SpreadFile {
            published: Some(90.0),
            assumed: Some(90.0),
            ..NONE
        };
        let too_wide = SpreadFile {
            assumed: Some(1056.0),
            ..NONE
        };
        let none = SpreadFile {
            published: Some(0.0),
            ..NONE
        };
        for file in [twice, too_wide, none] {
            assert_eq!(sides(file), None);
        }
    }
}
