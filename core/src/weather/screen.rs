//! Basic screening of one station day. A suspect day is kept and shown, but never used.

use crate::temperature::{Extremes, Temperature, Unit};

use super::ReceivedDay;

/// The lowest air temperature recorded in California: Boca, 20 January 1937 (NOAA State Climate
/// Extremes Committee).
const LOWEST_PLAUSIBLE_F: f64 = -45.0;
/// The highest air temperature recorded in California: Greenland Ranch, 10 July 1913 (same).
const HIGHEST_PLAUSIBLE_F: f64 = 134.0;

/// The verdict on one received day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Screened {
    /// Both values present and plausible.
    Usable(Extremes),
    /// At least one value is missing, and nothing is wrong with the other.
    Missing,
    /// A value is there but cannot be trusted.
    Suspect(Suspicion),
}

/// Why a day is not trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suspicion {
    /// A value that no thermometer in the region has shown, or that is not a number.
    OutOfBounds,
    /// The minimum is above the maximum.
    MinAboveMax,
    /// The provider flagged a value as failed.
    FlaggedByProvider,
}

impl Suspicion {
    /// The reason in words that fit after "suspect:".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::OutOfBounds => "a value outside physical bounds",
            Self::MinAboveMax => "the minimum is above the maximum",
            Self::FlaggedByProvider => "flagged by the provider",
        }
    }
}

/// Judges one day by itself.
#[must_use]
pub fn screen(day: &ReceivedDay) -> Screened {
    let plausible = |value: Option<f64>| value.map(|v| plausible(v, day.unit));
    match (plausible(day.min), plausible(day.max)) {
        (Some(None), _) | (_, Some(None)) => Screened::Suspect(Suspicion::OutOfBounds),
        _ if day.min_flag.is_some() || day.max_flag.is_some() => {
            Screened::Suspect(Suspicion::FlaggedByProvider)
        }
        (Some(Some(min)), Some(Some(max))) => Extremes::new(min, max)
            .map_or(Screened::Suspect(Suspicion::MinAboveMax), Screened::Usable),
        _ => Screened::Missing,
    }
}

fn plausible(value: f64, unit: Unit) -> Option<Temperature> {
    Temperature::new(value, unit)
        .filter(|t| (LOWEST_PLAUSIBLE_F..=HIGHEST_PLAUSIBLE_F).contains(&t.fahrenheit()))
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;

    fn day(min: Option<f64>, max: Option<f64>, unit: Unit) -> ReceivedDay {
        ReceivedDay {
            date: NaiveDate::from_ymd_opt(2022, 6, 1).unwrap(),
            min,
            max,
            unit,
            min_flag: None,
            max_flag: None,
        }
    }

    #[test]
    fn each_fault_has_its_own_verdict() {
        use Screened::{Missing, Suspect};
        let c = Unit::Celsius;
        let cases = [
            (day(None, Some(31.0), c), Missing),
            (day(Some(12.0), None, c), Missing),
            (day(None, None, c), Missing),
            (
                day(Some(12.0), Some(9.0), c),
                Suspect(Suspicion::MinAboveMax),
            ),
            (
                day(Some(-9999.0), Some(31.0), c),
                Suspect(Suspicion::OutOfBounds),
            ),
            (
                day(Some(12.0), Some(2306.0), c),
                Suspect(Suspicion::OutOfBounds),
            ),
            (
                day(Some(12.0), Some(89.3), c),
                Suspect(Suspicion::OutOfBounds),
            ),
            (
                day(None, Some(f64::NAN), c),
                Suspect(Suspicion::OutOfBounds),
            ),
            (
                ReceivedDay {
                    min_flag: Some("G".into()),
                    ..day(Some(12.0), Some(31.0), c)
                },
                Suspect(Suspicion::FlaggedByProvider),
            ),
        ];
        for (received, verdict) in cases {
            assert_eq!(screen(&received), verdict, "{received:?}");
        }
    }

    #[test]
    fn real_heat_is_kept() {
        let hot = day(Some(78.0), Some(116.0), Unit::Fahrenheit);
        assert!(matches!(screen(&hot), Screened::Usable(_)));
    }
}
