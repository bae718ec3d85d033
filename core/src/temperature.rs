//! Temperatures and degree-days, each in one exact unit inside.
//!
//! The published models are stated in °F, so °F is the unit inside: their thresholds (55 and 94)
//! and marks (1056) are then exact numbers. Everything from outside passes through [`Unit`].

use serde::{Deserialize, Serialize};

/// The unit of a temperature as somebody wrote it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// Degrees Fahrenheit.
    #[serde(rename = "f")]
    Fahrenheit,
    /// Degrees Celsius.
    #[serde(rename = "c")]
    Celsius,
}

impl Unit {
    /// `"f"` or `"c"`, as in configuration files and the database.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Fahrenheit => "f",
            Self::Celsius => "c",
        }
    }

    /// Reads what [`Unit::code`] writes.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        match code {
            "f" => Some(Self::Fahrenheit),
            "c" => Some(Self::Celsius),
            _ => None,
        }
    }

    /// How a temperature's unit is printed, `°F` or `°C`.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Fahrenheit => "°F",
            Self::Celsius => "°C",
        }
    }

    /// A difference of temperatures, given in °F, in this unit.
    #[must_use]
    pub fn difference(self, difference_f: f64) -> f64 {
        match self {
            Self::Fahrenheit => difference_f,
            Self::Celsius => difference_f / 1.8,
        }
    }
}

/// A finite temperature.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Temperature {
    fahrenheit: f64,
}

impl Temperature {
    /// A temperature read in `unit`; `None` when the number is not finite.
    #[must_use]
    pub fn new(value: f64, unit: Unit) -> Option<Self> {
        let fahrenheit = match unit {
            Unit::Fahrenheit => value,
            Unit::Celsius => value * 1.8 + 32.0,
        };
        fahrenheit.is_finite().then_some(Self { fahrenheit })
    }

    /// The temperature in °F, the unit inside.
    #[must_use]
    pub const fn fahrenheit(self) -> f64 {
        self.fahrenheit
    }

    /// The temperature in `unit`.
    #[must_use]
    pub fn in_unit(self, unit: Unit) -> f64 {
        match unit {
            Unit::Fahrenheit => self.fahrenheit,
            Unit::Celsius => (self.fahrenheit - 32.0) / 1.8,
        }
    }
}

/// The lowest and highest temperature of one station day, never crossed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extremes {
    min: Temperature,
    max: Temperature,
}

impl Extremes {
    /// Both extremes of a day; `None` when the minimum is above the maximum.
    #[must_use]
    pub fn new(min: Temperature, max: Temperature) -> Option<Self> {
        (min <= max).then_some(Self { min, max })
    }

    /// The day's lowest temperature.
    #[must_use]
    pub const fn min(self) -> Temperature {
        self.min
    }

    /// The day's highest temperature.
    #[must_use]
    pub const fn max(self) -> Temperature {
        self.max
    }
}

/// Accumulated warmth between an insect's thresholds; 1 °C-day is 1.8 °F-days.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct DegreeDays {
    fahrenheit_days: f64,
}

impl DegreeDays {
    /// No warmth at all.
    pub const ZERO: Self = Self {
        fahrenheit_days: 0.0,
    };

    /// Degree-days in °F-days, the unit inside.
    #[must_use]
    pub const fn from_fahrenheit_days(fahrenheit_days: f64) -> Self {
        Self { fahrenheit_days }
    }

    /// Degree-days in °F-days, the unit inside.
    #[must_use]
    pub const fn fahrenheit_days(self) -> f64 {
        self.fahrenheit_days
    }

    /// Degree-days of `unit`.
    #[must_use]
    pub fn in_unit(self, unit: Unit) -> f64 {
        unit.difference(self.fahrenheit_days)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thresholds_convert_exactly_not_rounded() {
        let lower = Temperature::new(55.0, Unit::Fahrenheit).unwrap();
        assert!((lower.in_unit(Unit::Celsius) - 12.777_777_777_777_779).abs() < 1e-14);
    }

    #[test]
    fn a_difference_has_no_zero_point() {
        // 9 °F are 5 K, whatever the temperatures they lie between.
        assert_eq!(Unit::Celsius.difference(9.0), 5.0);
        assert_eq!(Unit::Fahrenheit.difference(9.0), 9.0);
    }

    #[test]
    fn what_is_not_a_number_is_not_a_temperature() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(Temperature::new(bad, Unit::Celsius), None);
        }
    }

    #[test]
    fn a_minimum_above_the_maximum_is_refused() {
        let f = |v| Temperature::new(v, Unit::Fahrenheit).unwrap();
        assert_eq!(Extremes::new(f(60.0), f(59.9)), None);
        assert!(Extremes::new(f(60.0), f(60.0)).is_some());
    }
}
