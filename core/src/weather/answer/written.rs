//! In which unit numbers seem to be written that do not fit the one they are said to be in.

use serde::Deserialize;

use crate::temperature::Unit;

/// A unit in which a feed may write temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Written {
    /// Degrees Fahrenheit.
    #[serde(rename = "f")]
    Fahrenheit,
    /// Degrees Celsius.
    #[serde(rename = "c")]
    Celsius,
    /// Tenths of a degree Celsius, as archives keep them.
    #[serde(rename = "c-tenths")]
    CelsiusTenths,
}

impl Written {
    /// The unit in which such numbers are kept.
    #[must_use]
    pub const fn unit(self) -> Unit {
        match self {
            Self::Fahrenheit => Unit::Fahrenheit,
            Self::Celsius | Self::CelsiusTenths => Unit::Celsius,
        }
    }

    /// A number so written, in [`Self::unit`].
    #[must_use]
    pub fn value(self, number: f64) -> f64 {
        match self {
            Self::Fahrenheit | Self::Celsius => number,
            Self::CelsiusTenths => number / 10.0,
        }
    }

    /// As people name it: `°F`, `°C` or `tenths of °C`.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Fahrenheit => "°F",
            Self::Celsius => "°C",
            Self::CelsiusTenths => "tenths of °C",
        }
    }
}

impl From<Unit> for Written {
    fn from(unit: Unit) -> Self {
        match unit {
            Unit::Fahrenheit => Self::Fahrenheit,
            Unit::Celsius => Self::Celsius,
        }
    }
}

/// A unit, and what a value would be if its number were written in it, °F to °F.
type Reading = (Written, fn(f64) -> f64);

/// What a value of an answer, taken for °F, would be in °F if its number were written in another unit. `said` is the unit of
/// the answer; one in °C may be of a table that is declared to be in tenths.
pub(super) fn readings(said: Unit) -> impl Iterator<Item = Reading> + Clone {
    let readings: &[Reading] = match said {
        Unit::Fahrenheit => &[
            (Written::Celsius, fahrenheit),
            (Written::CelsiusTenths, |value_f| fahrenheit(value_f / 10.0)),
        ],
        Unit::Celsius => &[
            (Written::Fahrenheit, celsius),
            (Written::CelsiusTenths, |value_f| {
                fahrenheit(celsius(value_f) / 10.0)
            }),
            (Written::Celsius, |value_f| {
                fahrenheit(celsius(value_f) * 10.0)
            }),
            (Written::Fahrenheit, |value_f| celsius(value_f) * 10.0),
        ],
    };
    readings.iter().copied()
}

/// °C to °F.
fn fahrenheit(celsius: f64) -> f64 {
    celsius * 1.8 + 32.0
}

/// °F to °C.
fn celsius(value_f: f64) -> f64 {
    (value_f - 32.0) / 1.8
}
