//! An insect model: crops it is valid for, heat model, rule for the start, degree-day marks.
//!
//! A model holds only with the method it was fitted with, so thresholds, method and cutoff live
//! in the same file as the marks, each with its source.

use serde::Deserialize;

use crate::heat::{Cutoff, HeatModel, HeatModelError, Method, Thresholds};
use crate::id::{InsectId, MarkId};
use crate::orchard::{Crop, StartRule};
use crate::temperature::{DegreeDays, Temperature, Unit};

/// The start of egg laying, as marks name what they count from.
const FROM_START: &str = "egg-laying-start";

/// An insect file as written, before it is checked.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InsectFile {
    id: InsectId,
    name: String,
    crops: Vec<Crop>,
    heat: HeatFile,
    start: StartFile,
    #[serde(rename = "mark")]
    marks: Vec<MarkFile>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct HeatFile {
    unit: Unit,
    lower: f64,
    upper: f64,
    method: Method,
    cutoff: Cutoff,
    source: String,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct StartFile {
    rule: StartRule,
    source: String,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct MarkFile {
    id: MarkId,
    name: String,
    at: f64,
    from: String,
    #[serde(default)]
    waits_for_hull_split: bool,
    range: Option<[f64; 2]>,
    source: String,
}

/// A checked insect model.
#[derive(Debug, Clone, PartialEq)]
pub struct Insect {
    /// Its id.
    pub id: InsectId,
    /// Its name in mails.
    pub name: String,
    /// The crops it is valid for.
    pub crops: Vec<Crop>,
    /// The unit its thresholds and marks are published and printed in.
    pub unit: Unit,
    /// Thresholds, method and cutoff.
    pub heat: HeatModel,
    /// Where the heat model comes from.
    pub heat_source: String,
    /// The rule for the egg-laying start, unless a block names another.
    pub start_rule: StartRule,
    /// Where that rule comes from.
    pub start_source: String,
    /// Degree-day marks; each counts from the start or from one before it in this list.
    pub marks: Vec<Mark>,
}

/// A degree-day mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Its id.
    pub id: MarkId,
    /// Its name in mails.
    pub name: String,
    /// Degree-days from what it counts from.
    pub at: DegreeDays,
    /// What it counts from.
    pub from: CountsFrom,
    /// Whether counting waits for the first hull split of sound nuts of a variety.
    pub waits_for_hull_split: bool,
    /// The published range around `at`; `None` where none is published.
    pub range: Option<(DegreeDays, DegreeDays)>,
    /// Where the number comes from.
    pub source: String,
}

/// How long a generation takes, as published.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Generation {
    /// Its degree-days.
    pub at: DegreeDays,
    /// The published range around them; `None` where none is published.
    pub range: Option<(DegreeDays, DegreeDays)>,
}

impl Insect {
    /// The generations of a year one after the other: the marks that others count from, or that count
    /// from another mark. A mark such as first egg hatch is neither.
    #[must_use]
    pub fn generations(&self) -> Vec<Generation> {
        let counted_from = |place: usize| {
            let from = CountsFrom::Mark(place);
            self.marks.iter().any(|mark| mark.from == from)
        };
        let marks = self.marks.iter().enumerate();
        let generations = marks.filter(|(place, mark)| {
            counted_from(*place) || mark.from != CountsFrom::EggLayingStart
        });
        let generation = |(_, mark): (usize, &Mark)| Generation {
            at: mark.at,
            range: mark.range,
        };
        generations.map(generation).collect()
    }
}

/// What a mark counts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountsFrom {
    /// The egg-laying start.
    EggLayingStart,
    /// The mark at this place in the insect's list.
    Mark(usize),
}

/// One thing wrong in an insect file.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum InsectError {
    /// No crop is named.
    #[error("crops: name at least one crop the model is valid for")]
    NoCrop,
    /// A threshold is not a number.
    #[error("heat: lower and upper must be finite numbers")]
    ThresholdNotFinite,
    /// The heat model is not defined.
    #[error("heat: {0}")]
    Heat(#[from] HeatModelError),
    /// A mark counts from something that is not before it.
    #[error("mark {mark}: it counts from {from:?}; use \"egg-laying-start\" or a mark above it")]
    UnknownFrom {
        /// The mark.
        mark: MarkId,
        /// What it names.
        from: String,
    },
    /// Two marks have one id.
    #[error("mark {mark}: the id stands twice")]
    TwiceTheSame {
        /// The mark.
        mark: MarkId,
    },
    /// A mark's numbers do not fit together.
    #[error("mark {mark}: {at} must be above zero and inside its range")]
    NumbersOutOfOrder {
        /// The mark.
        mark: MarkId,
        /// Its degree-days as written.
        at: f64,
    },
}

impl InsectFile {
    /// Checks the file as a whole.
    ///
    /// # Errors
    /// Everything that is wrong with it, at once.
    pub fn check(self) -> Result<Insect, Vec<InsectError>> {
        let mut errors = Vec::new();
        if self.crops.is_empty() {
            errors.push(InsectError::NoCrop);
        }
        let heat = self.heat.check().map_err(|e| errors.push(e)).ok();
        let marks = check_marks(&self.marks, self.heat.unit, &mut errors);
        match heat {
            Some(heat) if errors.is_empty() => Ok(Insect {
                id: self.id,
                name: self.name,
                crops: self.crops,
                unit: self.heat.unit,
                heat,
                heat_source: self.heat.source,
                start_rule: self.start.rule,
                start_source: self.start.source,
                marks,
            }),
            _ => Err(errors),
        }
    }
}

impl HeatFile {
    fn check(&self) -> Result<HeatModel, InsectError> {
        let threshold =
            |value| Temperature::new(value, self.unit).ok_or(InsectError::ThresholdNotFinite);
        let thresholds = Thresholds::new(threshold(self.lower)?, threshold(self.upper)?)?;
        Ok(HeatModel::new(thresholds, self.method, self.cutoff)?)
    }
}

fn check_marks(files: &[MarkFile], unit: Unit, errors: &mut Vec<InsectError>) -> Vec<Mark> {
    let mut marks: Vec<Mark> = Vec::with_capacity(files.len());
    for file in files {
        match file.check(&marks, unit) {
            Ok(mark) => marks.push(mark),
            Err(error) => errors.push(error),
        }
    }
    marks
}

impl MarkFile {
    fn check(&self, before: &[Mark], unit: Unit) -> Result<Mark, InsectError> {
        let mark = || self.id.clone();
        if before.iter().any(|other| other.id == self.id) {
            return Err(InsectError::TwiceTheSame { mark: mark() });
        }
        let from = if self.from == FROM_START {
            CountsFrom::EggLayingStart
        } else {
            let place = before.iter().position(|m| m.id.as_str() == self.from);
            CountsFrom::Mark(place.ok_or_else(|| InsectError::UnknownFrom {
                mark: mark(),
                from: self.from.clone(),
            })?)
        };
        let [low, high] = self.range.unwrap_or([self.at, self.at]);
        if !(0.0 < low && low <= self.at && self.at <= high && high.is_finite()) {
            return Err(InsectError::NumbersOutOfOrder {
                mark: mark(),
                at: self.at,
            });
        }
        let degree_days = |value: f64| match unit {
            Unit::Fahrenheit => DegreeDays::from_fahrenheit_days(value),
            Unit::Celsius => DegreeDays::from_fahrenheit_days(value * 1.8),
        };
        Ok(Mark {
            id: mark(),
            name: self.name.clone(),
            at: degree_days(self.at),
            from,
            waits_for_hull_split: self.waits_for_hull_split,
            range: self.range.map(|[l, h]| (degree_days(l), degree_days(h))),
            source: self.source.clone(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHIPPED: &str = include_str!("../../config/insects/navel-orangeworm.toml");

    fn read(text: &str) -> Result<Insect, Vec<InsectError>> {
        toml::from_str::<InsectFile>(text).unwrap().check()
    }

    #[test]
    fn the_shipped_model_has_the_published_numbers() {
        let insect = read(SHIPPED).unwrap();
        assert_eq!(insect.crops, [Crop::Almond]);
        let numbers: Vec<f64> = insect
            .marks
            .iter()
            .map(|m| m.at.fahrenheit_days())
            .collect();
        assert_eq!(numbers, [100.0, 1056.0, 723.0, 723.0]);
        assert_eq!(insect.marks[2].from, CountsFrom::Mark(1));
        assert!(insect.marks.iter().all(|m| !m.source.is_empty()));
    }

    #[test]
    fn all_faults_are_told_together() {
        let broken = SHIPPED
            .replace("lower = 55", "lower = 99")
            .replace("at = 1056", "at = -1056")
            .replace("crops = [\"almond\"]", "crops = []");
        let errors = read(&broken).unwrap_err();
        // The two later marks count from the broken one, so they fall with it.
        assert!(errors.len() >= 3, "{errors:?}");
        assert!(errors.contains(&InsectError::NoCrop));
    }

    #[test]
    fn an_unknown_key_is_refused() {
        let broken = SHIPPED.replace("method =", "methud =");
        assert!(toml::from_str::<InsectFile>(&broken).is_err());
    }
}
