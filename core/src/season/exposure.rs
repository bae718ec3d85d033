//! How a variety is exposed: the days between each generation's egg laying and its first hull split, and
//! its shake. On the ground nuts are harder for a female to find (UC Cooperative Extension,
//! sacvalleyorchards.com, 2023).

use chrono::NaiveDate;
use libm::erfc;

use crate::id::MarkId;
use crate::orchard::Block;
use crate::trapping::{Expected, Note, NoteKind};

use super::marks::MarkReader;
use super::projection::{Instant, NORMAL_QUANTILE};
use super::{BlockSplit, FEW_PAST_YEARS, HullSplit, MarkReading, Outcome, WhyNot};

/// Chances below the first are "unlikely", above the second "likely", "about even" between: the thirds
/// of calibrated language (Mastrandrea et al. 2010, IPCC guidance note on uncertainties; from memory).
const THIRDS: (f64, f64) = (1.0 / 3.0, 2.0 / 3.0);

/// One variety's exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct VarietyExposure {
    /// The variety.
    pub variety: String,
    /// What is known of its first hull split.
    pub split: HullSplit,
    /// When it is shaken; `None` where nothing is entered.
    pub shake: Option<Shake>,
    /// Each generation's egg laying beside both, in their order.
    pub layings: Vec<LayingBeside>,
}

/// One generation's egg laying beside a variety's split and shake.
#[derive(Debug, Clone, PartialEq)]
pub struct LayingBeside {
    /// The mark at which it begins.
    pub mark: MarkId,
    /// Its name in mails.
    pub name: String,
    /// When it begins.
    pub laying: Outcome,
    /// Whether people have heard of it as near by now.
    pub near: bool,
    /// When its first eggs hatch; `None` where the insect's file does not say how long that takes.
    pub hatch: Option<Outcome>,
    /// Days from first split to it; `None` where one of both is not known.
    pub after_split: Option<Between>,
    /// The shake beside it; `None` without a shake, and where it does not matter at this variety's harvest.
    pub at_harvest: Option<Margin>,
}

/// When a variety is shaken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shake {
    /// Within these days.
    Expected(Expected),
    /// It was, on this day.
    Done(NaiveDate),
}

/// A shake beside one generation's egg laying.
#[derive(Debug, Clone, PartialEq)]
pub struct Margin {
    /// Days from the shake to it; `None` where its day cannot be told.
    pub between: Option<Between>,
    /// How likely the shake comes first; `None` once it is done, and else why that is not worked out.
    pub chance: Option<Result<Chance, WhyNoChance>>,
}

/// Days from one day to egg laying, below zero where it comes after.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Between {
    /// From its likely day to the middle of the projected range.
    pub likely: i64,
    /// From its latest day to the first day of that range.
    pub least: i64,
    /// From its earliest day to the last day of that range.
    pub most: i64,
}

/// Which of two comes first at a harvest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum First {
    /// The shake.
    Shake,
    /// Egg laying.
    EggLaying,
}

impl VarietyExposure {
    /// The day on which it was shaken; egg laying after it is none on its trees.
    #[must_use]
    pub const fn shaken(&self) -> Option<NaiveDate> {
        match self.shake {
            Some(Shake::Done(day)) => Some(day),
            Some(Shake::Expected(_)) | None => None,
        }
    }
}

impl Between {
    /// Which comes first by the likely days; `None` where both fall on one day.
    #[must_use]
    pub const fn first(self) -> Option<First> {
        match self.likely {
            0 => None,
            1.. => Some(First::Shake),
            _ => Some(First::EggLaying),
        }
    }
}

/// How likely a shake comes before egg laying begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// Between 0 and 1.
    pub shake_first: f64,
    /// How many past years of the station it rests on.
    pub past_years: usize,
}

/// Why no chance is worked out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyNoChance {
    /// The egg laying has no date, or past years give none.
    NoDate(WhyNot),
    /// The egg-laying start is not confirmed.
    StartNotConfirmed,
    /// Nothing is known of hull split.
    HullSplitNotKnown,
    /// The shake is past its latest day and not entered as done.
    ShakeNotEntered,
    /// There are only so many past years.
    FewPastYears(usize),
}

impl From<WhyNot> for WhyNoChance {
    fn from(why: WhyNot) -> Self {
        Self::NoDate(why)
    }
}

/// A chance in three steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likelihood {
    /// Below one third.
    Unlikely,
    /// One third to two thirds.
    AboutEven,
    /// Above two thirds.
    Likely,
}

impl Shake {
    /// The earliest, the likely and the latest day.
    #[must_use]
    pub const fn days(self) -> [NaiveDate; 3] {
        match self {
            Self::Expected(days) => days.days(),
            Self::Done(day) => [day; 3],
        }
    }
}

impl Chance {
    /// The chance as people are told it.
    #[must_use]
    pub fn likelihood(self) -> Likelihood {
        match self.shake_first {
            chance if chance < THIRDS.0 => Likelihood::Unlikely,
            chance if chance > THIRDS.1 => Likelihood::Likely,
            _ => Likelihood::AboutEven,
        }
    }
}

/// Every variety of a block; empty where no mark of the insect has to do with hull split or harvest.
/// `reader` has read the marks.
pub(super) fn of_block(
    reader: MarkReader<'_>,
    block: &Block,
    splits: &[(String, HullSplit)],
    notes: &[Note],
    marks: &[MarkReading],
) -> Vec<VarietyExposure> {
    let mut of_crop = reader.insect.marks.iter();
    if !of_crop.any(|mark| mark.waits_for_hull_split || mark.harvest.is_some()) {
        return Vec::new();
    }
    let layings = layings(reader, marks);
    let shakes = shake_notes(notes, reader.heat.as_of());
    let of_variety = |(variety, split): &(String, HullSplit)| {
        let of = Variety {
            reader,
            block,
            variety,
            split: *split,
            shake: shake_of(&shakes, variety),
        };
        VarietyExposure {
            variety: variety.clone(),
            split: *split,
            shake: of.shake,
            layings: layings.iter().map(|laying| of.beside(laying)).collect(),
        }
    };
    splits.iter().map(of_variety).collect()
}

/// A generation's egg laying, the same for all varieties.
struct Laying<'a> {
    place: usize,
    reading: &'a MarkReading,
    hatch: Option<Outcome>,
}

/// The generations' egg laying in their order. A hatch is worked out once its egg laying is near.
fn layings<'a>(reader: MarkReader<'_>, marks: &'a [MarkReading]) -> Vec<Laying<'a>> {
    let generations = marks.iter().enumerate();
    let generations = generations.filter(|(_, reading)| reading.begins_laying);
    let laying = |(place, reading): (usize, &'a MarkReading)| {
        let near = matches!(reading.outcome, Outcome::Passed { .. }) || reading.near > 0;
        Laying {
            place,
            reading,
            hatch: near.then(|| reader.hatch(place)).flatten(),
        }
    };
    generations.map(laying).collect()
}

/// This year's notes on shaking the block or a variety of it, oldest first.
fn shake_notes(notes: &[Note], as_of: NaiveDate) -> Vec<(&Note, Shake)> {
    let mut shakes: Vec<(&Note, Shake)> = notes
        .iter()
        .filter_map(|note| match note.kind {
            NoteKind::ShakeExpected(days) => Some((note, Shake::Expected(days))),
            NoteKind::Shaken => Some((note, Shake::Done(note.date))),
            _ => None,
        })
        .filter(|(note, _)| note.is_of_year_to(as_of))
        .collect();
    // On one day what was done says more than what was expected.
    shakes.sort_by_key(|(note, shake)| (note.date, matches!(shake, Shake::Done(_))));
    shakes
}

/// The newest note on a variety or on the whole block.
fn shake_of(shakes: &[(&Note, Shake)], variety: &str) -> Option<Shake> {
    let about = |note: &Note| note.variety.as_deref().is_none_or(|of| of == variety);
    let newest = shakes.iter().rfind(|(note, _)| about(note));
    newest.map(|(_, shake)| *shake)
}

struct Variety<'a> {
    reader: MarkReader<'a>,
    block: &'a Block,
    variety: &'a String,
    split: HullSplit,
    shake: Option<Shake>,
}

impl Variety<'_> {
    fn beside(&self, laying: &Laying<'_>) -> LayingBeside {
        let reading = laying.reading;
        let split = self.split.days();
        let matters = self.reader.insect.marks[laying.place].harvest;
        let matters = matters.is_some_and(|of| of.of(&self.block.varieties).contains(self.variety));
        let shake = self.shake.filter(|_| matters);
        LayingBeside {
            mark: reading.mark.clone(),
            name: reading.name.clone(),
            laying: reading.outcome.clone(),
            near: reading.near > 0,
            hatch: laying.hatch.clone(),
            after_split: split.and_then(|days| between(days.days(), &reading.outcome)),
            at_harvest: shake.map(|shake| Margin {
                between: between(shake.days(), &reading.outcome),
                chance: self.chance(laying, shake),
            }),
        }
    }

    /// A shake that is done is a fact and has no chance.
    fn chance(&self, laying: &Laying<'_>, shake: Shake) -> Option<Result<Chance, WhyNoChance>> {
        match shake {
            Shake::Done(_) => None,
            Shake::Expected(days) => Some(self.chance_of(laying, days)),
        }
    }

    fn chance_of(&self, laying: &Laying<'_>, shake: Expected) -> Result<Chance, WhyNoChance> {
        self.can_be_weighed(laying.reading, shake)?;
        let (series, _) = self.reader.heat.known()?;
        let years = self.reader.yearly(laying.place)?;
        if years.len() < FEW_PAST_YEARS {
            return Err(WhyNoChance::FewPastYears(years.len()));
        }
        let shake = over_days(shake, series.first());
        let sum: f64 = years
            .iter()
            .map(|year| comes_first(shake, TwoSided::of(*year)))
            .sum();
        Ok(Chance {
            shake_first: sum / years.len() as f64,
            past_years: years.len(),
        })
    }

    /// Whether all is known that a chance is made of.
    fn can_be_weighed(&self, reading: &MarkReading, shake: Expected) -> Result<(), WhyNoChance> {
        if let Outcome::CannotTell { why } = &reading.outcome {
            Err(why.clone().into())
        } else if reading.rests_on_start && !self.reader.start.status.is_firm() {
            Err(WhyNoChance::StartNotConfirmed)
        } else if reading.waits_for_split && *self.reader.split == BlockSplit::NotKnown {
            Err(WhyNoChance::HullSplitNotKnown)
        } else if shake.latest < self.reader.heat.as_of() {
            Err(WhyNoChance::ShakeNotEntered)
        } else {
            Ok(())
        }
    }
}

fn between([earliest, likely, latest]: [NaiveDate; 3], laying: &Outcome) -> Option<Between> {
    let [early, middle, late] = laying.days()?;
    Some(Between {
        likely: (middle - likely).num_days(),
        least: (early - latest).num_days(),
        most: (late - earliest).num_days(),
    })
}

/// A triangular distribution by its beginning, its peak and its end, on instants. Common practice for
/// three numbers that people name, no source.
#[derive(Debug, Clone, Copy)]
struct Triangle([f64; 3]);

/// A shake from the beginning of its earliest day to the end of its latest, most likely at noon of the
/// likely one.
fn over_days(shake: Expected, first: NaiveDate) -> Triangle {
    let [earliest, likely, latest] = shake.days().map(|day| (day - first).num_days() as f64);
    Triangle([earliest, likely + 0.5, latest + 1.0])
}

/// A normal distribution with another standard deviation on each side of its middle, which as many are below
/// as above: of one past year's egg laying, on instants.
#[derive(Debug, Clone, Copy)]
struct TwoSided {
    below: f64,
    middle: f64,
    above: f64,
}

impl TwoSided {
    /// By the ends between which four of five lie, and the middle.
    fn of([low, middle, high]: [Instant; 3]) -> Self {
        Self {
            below: (middle - low) / NORMAL_QUANTILE,
            middle,
            above: (high - middle) / NORMAL_QUANTILE,
        }
    }

    /// The share of it after an instant.
    fn share_above(self, x: f64) -> f64 {
        let from_middle = x - self.middle;
        let sd = if from_middle < 0.0 {
            self.below
        } else {
            self.above
        };
        // The insect's spread is never nothing; an end of the season that cuts it off may be.
        match sd > 0.0 {
            true => 0.5 * erfc(from_middle / sd * std::f64::consts::FRAC_1_SQRT_2),
            false => f64::from(u8::from(from_middle < 0.0)),
        }
    }
}

impl Triangle {
    fn density(self, x: f64) -> f64 {
        let Self([low, peak, high]) = self;
        let height = 2.0 / (high - low);
        if x < peak {
            height * (x - low) / (peak - low)
        } else if x > peak {
            height * (high - x) / (high - peak)
        } else {
            height
        }
    }
}

/// Pieces of each stretch of an integral; the error is below a millionth.
const PIECES: usize = 64;

/// The probability that a shake comes before egg laying begins, both independent: the share of egg laying
/// after each instant, weighed by how likely the shake is then, by Simpson's rule between the corners.
fn comes_first(shake: Triangle, laying: TwoSided) -> f64 {
    let [low, peak, high] = shake.0;
    let mut corners = vec![low, peak, high];
    corners.extend((low < laying.middle && laying.middle < high).then_some(laying.middle));
    corners.sort_by(f64::total_cmp);
    let weighed = |x: f64| shake.density(x) * laying.share_above(x);
    corners
        .windows(2)
        .map(|stretch| simpson(weighed, stretch[0], stretch[1]))
        .sum()
}

fn simpson(of: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let width = (to - from) / PIECES as f64;
    let piece = |piece: usize| {
        let from = from + width * piece as f64;
        let to = from + width;
        width / 6.0 * (of(from) + 4.0 * of(f64::midpoint(from, to)) + of(to))
    };
    (0..PIECES).map(piece).sum()
}

#[cfg(test)]
mod tests;
