//! An insect model: crops it is valid for, heat model, rule for the start, degree-day marks.
//!
//! A model holds only with the method it was fitted with, so thresholds, method and cutoff live
//! in the same file as the marks, each with its source.

mod flights;
mod near;
mod spread;
mod start_model;

pub use flights::{FlightBounds, flight_at};
pub use near::Near;
pub use spread::{Spread, SpreadSource};
pub use start_model::StartModel;

use serde::Deserialize;

use crate::heat::{Cutoff, HeatModel, HeatModelError, Method, Thresholds};
use crate::id::{InsectId, MarkId};
use crate::orchard::Crop;
use crate::temperature::{DegreeDays, Temperature, Unit};

use flights::FlightsFile;
use near::NearFile;
use spread::SpreadFile;
use start_model::StartFile;

/// The start of egg laying, as marks name what they count from.
const FROM_START: &str = "egg-laying-start";
/// The first day of the year, as marks name what they count from.
const FROM_NEW_YEAR: &str = "1-january";

/// An insect file as written, before it is checked.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InsectFile {
    id: InsectId,
    name: String,
    crops: Vec<Crop>,
    near: Option<NearFile>,
    heat: HeatFile,
    start: Option<StartFile>,
    flights: Option<FlightsFile>,
    without_marks: Option<String>,
    #[serde(rename = "mark", default)]
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
struct MarkFile {
    id: MarkId,
    name: String,
    at: f64,
    from: String,
    #[serde(default)]
    waits_for_hull_split: bool,
    range: Option<[f64; 2]>,
    spread: Option<f64>,
    assumed_spread: Option<f64>,
    #[serde(default)]
    hatch: bool,
    #[serde(default = "yes")]
    told: bool,
    growers: Option<bool>,
    harvest: Option<Harvested>,
    source: String,
}

const fn yes() -> bool {
    true
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
    /// How the egg-laying start is decided; `None` where nothing counts from it.
    pub start: Option<StartModel>,
    /// Degree-day marks; each counts from the start, the year's first day or one before it in this
    /// list.
    pub marks: Vec<Mark>,
    /// Why there is no mark, where there is none.
    pub without_marks: Option<String>,
    /// At which distances people hear of a mark ahead.
    pub near: Near,
    /// Which flight of the year a rise of catches is; `None` where the file does not say.
    pub flights: Option<FlightBounds>,
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
    /// How far the degree-days of its own scatter.
    pub spread: Spread,
    /// Whether it is the first hatch of eggs: after any generation's egg laying it takes as long.
    pub is_hatch: bool,
    /// Whether people are told of it; a number that disagrees with another is shown beside it only.
    pub told: bool,
    /// Whether growers hear of it unless they choose otherwise.
    pub to_growers: bool,
    /// The varieties whose harvest it is compared with; `None` for a mark that is no egg laying that
    /// matters then.
    pub harvest: Option<Harvested>,
    /// Where the number comes from.
    pub source: String,
}

/// The varieties whose harvest a generation's egg laying is compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Harvested {
    /// Every variety of a block.
    All,
    /// Every variety but the first, the early one.
    Pollinizers,
}

impl Harvested {
    /// Those of a block's varieties, the early one first, that are meant.
    #[must_use]
    pub fn of(self, varieties: &[String]) -> &[String] {
        match self {
            Self::All => varieties,
            Self::Pollinizers => varieties.get(1..).unwrap_or_default(),
        }
    }
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
    /// Whether the mark at a place in the list is a generation of the year: others count from it, or it from
    /// another, and it is told. A mark such as first egg hatch is neither, and what counts from the first of
    /// January is no generation.
    #[must_use]
    pub fn is_generation(&self, place: usize) -> bool {
        let mark = &self.marks[place];
        let from_it = CountsFrom::Mark(place);
        match mark.from {
            CountsFrom::Mark(_) => mark.told,
            CountsFrom::EggLayingStart => self.marks.iter().any(|other| other.from == from_it),
            CountsFrom::NewYear => false,
        }
    }

    /// The generations of a year one after the other: the marks that others count from, or that count
    /// from another mark. A mark such as first egg hatch is neither, and what counts from the first of
    /// January is no generation.
    #[must_use]
    pub fn generations(&self) -> Vec<Generation> {
        let marks = self.marks.iter().enumerate();
        let generations = marks.filter(|(place, _)| self.is_generation(*place));
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
    /// The first of January.
    NewYear,
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
    /// A mark counts from the start, and nothing says how that is decided.
    #[error("mark {mark}: it counts from the egg-laying start; give [start] with rule and source")]
    NoStart {
        /// The mark.
        mark: MarkId,
    },
    /// What the start is read with cannot be used.
    #[error(
        "start: earliest is a month and a day such as \"03-15\", laying_spread two degree-days that rise, below \
         first_brood_until"
    )]
    Start,
    /// The distances at which a mark is near cannot be used.
    #[error(
        "near: give one to four distances, the farthest first, above zero, either days or degree_days"
    )]
    Near,
    /// The boundaries between flights cannot be used.
    #[error(
        "flights: give from_new_year, one to seven rising degree-days above zero; from_start as many, and only \
         with [start]; names one more than boundaries, or none"
    )]
    Flights,
    /// There is neither a mark nor a reason for it, or both.
    #[error("give [[mark]] tables, or say in without_marks why there are none")]
    MarksOrWhyNone,
    /// A mark counts from something that is not before it.
    #[error(
        "mark {mark}: it counts from {from:?}; use \"egg-laying-start\", \"1-january\" or a mark above it"
    )]
    UnknownFrom {
        /// The mark.
        mark: MarkId,
        /// What it names.
        from: String,
    },
    /// A mark's spread cannot be used.
    #[error(
        "mark {mark}: give one of range (published), spread (published, one standard deviation) and \
         assumed_spread (one standard deviation), above zero and below {at}"
    )]
    Spread {
        /// The mark.
        mark: MarkId,
        /// Its degree-days as written.
        at: f64,
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
    /// The crops it names, also where something else in it is wrong.
    #[must_use]
    pub fn crops(&self) -> &[Crop] {
        &self.crops
    }

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
        if self.marks.is_empty() != self.without_marks.is_some() {
            errors.push(InsectError::MarksOrWhyNone);
        }
        let marks = check_marks(&self.marks, self.heat.unit, &mut errors);
        let near = self.near.as_ref().map(|near| near.check(self.heat.unit));
        if near == Some(None) {
            errors.push(InsectError::Near);
        }
        let declares_start = self.start.is_some();
        let start = self.start.map(|start| start.check(self.heat.unit));
        if start == Some(None) {
            errors.push(InsectError::Start);
        }
        let flights = self.flights.as_ref();
        let flights = flights.map(|flights| flights.check(self.heat.unit, declares_start));
        if flights == Some(None) {
            errors.push(InsectError::Flights);
        }
        let of_start = |mark: &&Mark| mark.from == CountsFrom::EggLayingStart;
        if let (false, Some(mark)) = (declares_start, marks.iter().find(of_start)) {
            let mark = mark.id.clone();
            errors.push(InsectError::NoStart { mark });
        }
        match heat {
            Some(heat) if errors.is_empty() => Ok(Insect {
                id: self.id,
                name: self.name,
                crops: self.crops,
                unit: self.heat.unit,
                heat,
                heat_source: self.heat.source,
                start: start.flatten(),
                marks,
                without_marks: self.without_marks,
                near: near.flatten().unwrap_or_default(),
                flights: flights.flatten(),
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
        let from = self.counts_from(before)?;
        let [low, high] = self.range.unwrap_or([self.at, self.at]);
        if !(0.0 < low && low <= self.at && self.at <= high && high.is_finite()) {
            return Err(InsectError::NumbersOutOfOrder {
                mark: mark(),
                at: self.at,
            });
        }
        let spread = SpreadFile {
            at: self.at,
            range: self.range,
            published: self.spread,
            assumed: self.assumed_spread,
        };
        let spread = spread.check(unit).ok_or_else(|| InsectError::Spread {
            mark: mark(),
            at: self.at,
        })?;
        let degree_days = |value| degree_days(value, unit);
        Ok(Mark {
            id: mark(),
            name: self.name.clone(),
            at: degree_days(self.at),
            from,
            waits_for_hull_split: self.waits_for_hull_split,
            range: self.range.map(|[l, h]| (degree_days(l), degree_days(h))),
            spread,
            is_hatch: self.hatch,
            told: self.told,
            to_growers: self.growers.unwrap_or(!self.hatch),
            harvest: self.harvest,
            source: self.source.clone(),
        })
    }

    fn counts_from(&self, before: &[Mark]) -> Result<CountsFrom, InsectError> {
        match self.from.as_str() {
            FROM_START => Ok(CountsFrom::EggLayingStart),
            FROM_NEW_YEAR => Ok(CountsFrom::NewYear),
            mark => {
                let place = before.iter().position(|m| m.id.as_str() == mark);
                let unknown = || InsectError::UnknownFrom {
                    mark: self.id.clone(),
                    from: self.from.clone(),
                };
                place.map(CountsFrom::Mark).ok_or_else(unknown)
            }
        }
    }
}

/// Degree-days as written in an insect file.
fn degree_days(value: f64, unit: Unit) -> DegreeDays {
    match unit {
        Unit::Fahrenheit => DegreeDays::from_fahrenheit_days(value),
        Unit::Celsius => DegreeDays::from_fahrenheit_days(value * 1.8),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHIPPED: &str = include_str!("../../config/insects/navel-orangeworm.toml");
    const PISTACHIO: &str = include_str!("../../config/insects/navel-orangeworm-pistachio.toml");
    const WALNUT: &str = include_str!("../../config/insects/navel-orangeworm-walnut.toml");

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
    fn the_pistachio_model_has_the_published_numbers() {
        let insect = read(PISTACHIO).unwrap();
        assert_eq!(insect.crops, [Crop::Pistachio]);
        // The flight study gives 944.4 °C-days from 1 January, which are 1700 °F-days, and 277.78
        // from peak to peak, which are 500; the rearing studies 422.3 ± 123 °C-days (Siegel & Kuenen
        // 2011), which are 760 ± 221 °F-days.
        let numbers = insect
            .marks
            .iter()
            .map(|m| (m.at.fahrenheit_days(), m.from, m.told));
        let expected = [
            (1700.0, CountsFrom::NewYear, true),
            (500.0, CountsFrom::Mark(0), true),
            (760.0, CountsFrom::Mark(0), false),
            (500.0, CountsFrom::Mark(1), true),
        ];
        assert!(numbers.eq(expected));
        let reared = insect.marks[2].spread;
        let sides = [reared.below, reared.above].map(DegreeDays::fahrenheit_days);
        assert_eq!(
            (sides, reared.source),
            ([221.0; 2], SpreadSource::Published)
        );
        assert!((944.4_f64 * 1.8 - 1700.0).abs() < 0.1 && (277.78_f64 * 1.8 - 500.0).abs() < 0.1);
        assert!((422.3_f64 * 1.8 - 760.0).abs() < 0.2 && (123.0_f64 * 1.8 - 221.0).abs() < 0.5);
        assert!(insect.marks.iter().all(|m| !m.name.contains("egg")));
        assert!(insect.start.is_none() && insect.marks.iter().all(|m| m.harvest.is_none()));
    }

    #[test]
    fn the_walnut_model_says_that_it_has_no_dates() {
        let insect = read(WALNUT).unwrap();
        assert_eq!(insect.crops, [Crop::Walnut]);
        assert!(insect.marks.is_empty() && insect.start.is_none());
        let why = insect.without_marks.unwrap();
        assert!(why.contains("no published degree-day dates for walnut"));
    }

    #[test]
    fn a_model_has_marks_or_says_why_not_and_what_its_marks_count_from() {
        let check = |text: String, expected: InsectError| {
            assert_eq!(read(&text).unwrap_err(), [expected]);
        };
        let silent = WALNUT.lines().filter(|l| !l.starts_with("without_marks"));
        check(
            silent.collect::<Vec<_>>().join("\n"),
            InsectError::MarksOrWhyNone,
        );
        let both = PISTACHIO.replacen("[heat]", "without_marks = \"none\"\n[heat]", 1);
        check(both, InsectError::MarksOrWhyNone);
        let mark = MarkId::new("summer-peak-1").unwrap();
        check(
            PISTACHIO.replace("\"1-january\"", "\"egg-laying-start\""),
            InsectError::NoStart { mark },
        );
    }

    #[test]
    fn the_early_variety_is_no_pollinizer() {
        let varieties = ["Nonpareil", "Monterey", "Fritz"].map(str::to_owned);
        assert_eq!(Harvested::All.of(&varieties), varieties);
        assert_eq!(Harvested::Pollinizers.of(&varieties), ["Monterey", "Fritz"]);
        assert!(Harvested::Pollinizers.of(&[]).is_empty());
        let harvested = read(SHIPPED)
            .unwrap()
            .marks
            .into_iter()
            .map(|m| (m.id.to_string(), m.harvest));
        let expected = [
            ("third-generation".to_owned(), Some(Harvested::All)),
            ("fourth-generation".to_owned(), Some(Harvested::Pollinizers)),
        ];
        assert!(harvested.skip(2).eq(expected));
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
