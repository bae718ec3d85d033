//! How the egg-laying start is decided.

use chrono::NaiveDate;
use serde::Deserialize;

use crate::orchard::StartRule;
use crate::temperature::{DegreeDays, Unit};

use super::degree_days;
use crate::same_day::same_day;

/// Laying begins on this day of the year at the earliest where the file names none: egg traps hang by then
/// (UC IPM almond guideline).
const EARLIEST: &str = "03-15";
/// Degree-days since 1 January, °F, from which on eggs are likelier the second generation's than the first's.
/// In 125 years of the five stations that `tests/oracle/seasons` takes they are reached between 16 May and 1 July,
/// in the middle on 6 June: a start on 15 May is lost in none of them, one on 20 May in two.
const FIRST_BROOD_UNTIL_F: f64 = 1000.0;
/// Widths of the hump of laying, °F-days, one standard deviation: from memory.
const WIDTHS_F: [f64; 2] = [70.0, 190.0];

/// As written.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StartFile {
    rule: StartRule,
    earliest: Option<String>,
    first_brood_until: Option<f64>,
    laying_spread: Option<[f64; 2]>,
    source: String,
}

/// How the egg-laying start is decided.
#[derive(Debug, Clone, PartialEq)]
pub struct StartModel {
    /// The rule, unless a block names another.
    pub rule: StartRule,
    /// Degree-days since 1 January from which on eggs are likelier the second generation's.
    pub first_brood_until: DegreeDays,
    /// The narrowest and the widest hump of laying, one standard deviation.
    pub laying_spread: [DegreeDays; 2],
    /// Where it comes from.
    pub source: String,
    /// A day of a leap year, of which month and day count.
    earliest: NaiveDate,
}

impl StartFile {
    /// `None` where its numbers cannot be used.
    pub(super) fn check(self, unit: Unit) -> Option<StartModel> {
        let earliest = self.earliest.as_deref().unwrap_or(EARLIEST);
        let of_file = |value: f64| degree_days(value, unit);
        let fahrenheit = DegreeDays::from_fahrenheit_days;
        let until = self.first_brood_until.map(of_file);
        let spread = self.laying_spread.map(|both| both.map(of_file));
        let model = StartModel {
            rule: self.rule,
            first_brood_until: until.unwrap_or(fahrenheit(FIRST_BROOD_UNTIL_F)),
            laying_spread: spread.unwrap_or(WIDTHS_F.map(fahrenheit)),
            source: self.source,
            earliest: NaiveDate::parse_from_str(&format!("2024-{earliest}"), "%Y-%m-%d").ok()?,
        };
        model.is_sound().then_some(model)
    }
}

impl StartModel {
    fn is_sound(&self) -> bool {
        let [narrow, wide] = self.laying_spread.map(DegreeDays::fahrenheit_days);
        let until = self.first_brood_until.fahrenheit_days();
        0.0 < narrow && narrow < wide && wide < until && until.is_finite()
    }

    /// The earliest day of a year on which laying may begin.
    #[must_use]
    pub fn earliest(&self, year: i32) -> NaiveDate {
        same_day(self.earliest, year).unwrap_or(self.earliest)
    }
}
