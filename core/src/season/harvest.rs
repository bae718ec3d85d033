//! Harvest beside the generations: how many days lie between shaking a variety and the egg laying
//! that matters then, and how likely the shake comes first. On the ground nuts are harder for a female
//! to find (UC Cooperative Extension, sacvalleyorchards.com, 2023).

use chrono::NaiveDate;

use crate::id::MarkId;
use crate::insect::Insect;
use crate::orchard::Block;
use crate::trapping::{EggLayingStart, Expected, Note, NoteKind};

use super::marks::yearly;
use super::{FEW_PAST_YEARS, HullSplit, MarkReading, Outcome, StationHeat, WhyNot};

/// Chances below the first are "unlikely", above the second "likely", "about even" between: the thirds
/// of calibrated language (Mastrandrea et al. 2010, IPCC guidance note on uncertainties; from memory).
const THIRDS: (f64, f64) = (1.0 / 3.0, 2.0 / 3.0);

/// One variety's harvest.
#[derive(Debug, Clone, PartialEq)]
pub struct VarietyHarvest {
    /// The variety.
    pub variety: String,
    /// When it is shaken; `None` where nothing is entered, while it is of another variety.
    pub shake: Option<Shake>,
    /// The shake beside each generation's egg laying that matters; empty without one.
    pub margins: Vec<Margin>,
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
    /// The mark at which that egg laying begins.
    pub mark: MarkId,
    /// Its name in mails.
    pub name: String,
    /// Its answer for the variety.
    pub laying: Outcome,
    /// Days from the shake to it; `None` where its day cannot be told.
    pub between: Option<Between>,
    /// How likely the shake comes first, or why that is not worked out.
    pub chance: Result<Chance, WhyNoChance>,
}

/// Days from a shake to egg laying, below zero where the shake comes after.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Between {
    /// From the likely day of the shake to the middle of the projected range.
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
    /// The insect's own spread is unknown.
    SpreadUnknown,
    /// The egg-laying start is not confirmed.
    StartNotConfirmed,
    /// Hull split is not entered.
    HullSplitNotEntered,
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
            Self::Expected(days) => [days.earliest, days.likely, days.latest],
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

/// Every variety of a block beside the egg laying that matters at its harvest; empty while no shake
/// of the block is entered, and where no mark of the insect matters then.
pub(super) fn of_block(
    insect: &Insect,
    block: &Block,
    start: &EggLayingStart,
    heat: &StationHeat,
    notes: &[Note],
    marks: &[MarkReading],
) -> Vec<VarietyHarvest> {
    let shakes = shake_notes(notes, heat.as_of());
    if shakes.is_empty() || insect.marks.iter().all(|mark| mark.harvest.is_none()) {
        return Vec::new();
    }
    let weighed = Margins {
        insect,
        start,
        heat,
    };
    let of_variety = |variety: &String| {
        let shake = shake_of(&shakes, variety);
        let margins = shake.map(|shake| weighed.margins(block, variety, shake, marks));
        VarietyHarvest {
            variety: variety.clone(),
            shake,
            margins: margins.unwrap_or_default(),
        }
    };
    block.varieties.iter().map(of_variety).collect()
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

struct Margins<'a> {
    insect: &'a Insect,
    start: &'a EggLayingStart,
    heat: &'a StationHeat,
}

impl Margins<'_> {
    fn margins(
        &self,
        block: &Block,
        variety: &String,
        shake: Shake,
        marks: &[MarkReading],
    ) -> Vec<Margin> {
        let matters = self.insect.marks.iter().enumerate().filter(|(_, mark)| {
            mark.harvest
                .is_some_and(|of| of.of(&block.varieties).contains(variety))
        });
        matters
            .filter_map(|(place, mark)| {
                let reading = marks.iter().find(|reading| {
                    reading.told && reading.mark == mark.id && reading.varieties.contains(variety)
                })?;
                Some(Margin {
                    mark: mark.id.clone(),
                    name: mark.name.clone(),
                    laying: reading.outcome.clone(),
                    between: between(shake, &reading.outcome),
                    chance: self.chance(place, reading, shake),
                })
            })
            .collect()
    }

    fn chance(
        &self,
        place: usize,
        reading: &MarkReading,
        shake: Shake,
    ) -> Result<Chance, WhyNoChance> {
        self.can_be_weighed(place, reading, shake)?;
        let (series, _) = self.heat.known()?;
        let years = yearly(
            self.insect,
            self.start,
            self.heat,
            place,
            reading.hull_split,
        )?;
        if years.len() < FEW_PAST_YEARS {
            return Err(WhyNoChance::FewPastYears(years.len()));
        }
        let shake = over_days(shake, series.first());
        let sum: f64 = years
            .iter()
            .map(|year| comes_first(shake, Triangle(*year)))
            .sum();
        Ok(Chance {
            shake_first: sum / years.len() as f64,
            past_years: years.len(),
        })
    }

    /// Whether all is known that a chance is made of.
    fn can_be_weighed(
        &self,
        place: usize,
        reading: &MarkReading,
        shake: Shake,
    ) -> Result<(), WhyNoChance> {
        let [_, _, latest] = shake.days();
        if let Outcome::CannotTell { why } = &reading.outcome {
            Err(why.clone().into())
        } else if self.insect.marks[place].range.is_none() {
            Err(WhyNoChance::SpreadUnknown)
        } else if reading.rests_on_start && !self.start.status.is_firm() {
            Err(WhyNoChance::StartNotConfirmed)
        } else if reading.hull_split == HullSplit::NotEntered {
            Err(WhyNoChance::HullSplitNotEntered)
        } else if matches!(shake, Shake::Expected(_)) && latest < self.heat.as_of() {
            Err(WhyNoChance::ShakeNotEntered)
        } else {
            Ok(())
        }
    }
}

fn between(shake: Shake, laying: &Outcome) -> Option<Between> {
    let [earliest, likely, latest] = shake.days();
    let [early, middle, late] = match laying {
        Outcome::Passed { date, .. } => [*date; 3],
        Outcome::Projected(range) => [range.early, range.middle, range.late],
        Outcome::CannotTell { .. } => return None,
    };
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
fn over_days(shake: Shake, first: NaiveDate) -> Triangle {
    let [earliest, likely, latest] = shake.days().map(|day| (day - first).num_days() as f64);
    Triangle([earliest, likely + 0.5, latest + 1.0])
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

    fn share_below(self, x: f64) -> f64 {
        let Self([low, peak, high]) = self;
        if x <= low {
            0.0
        } else if x >= high {
            1.0
        } else if x < peak {
            (x - low).powi(2) / ((high - low) * (peak - low))
        } else {
            1.0 - (high - x).powi(2) / ((high - low) * (high - peak))
        }
    }
}

/// The probability that a shake comes before egg laying begins, both independent: the share of shakes
/// before each instant, weighed by how likely laying begins then. Between the corners of both
/// triangles that product is a cubic, for which Simpson's rule is exact.
fn comes_first(shake: Triangle, laying: Triangle) -> f64 {
    let [low, peak, high] = laying.0;
    if low >= high {
        return shake.share_below(peak);
    }
    let mut corners = vec![low, peak, high];
    corners.extend(shake.0.iter().filter(|x| (low..high).contains(x)));
    corners.sort_by(f64::total_cmp);
    let weighed = |x: f64| laying.density(x) * shake.share_below(x);
    let simpson = |from: f64, to: f64| {
        (to - from) / 6.0 * (weighed(from) + 4.0 * weighed(f64::midpoint(from, to)) + weighed(to))
    };
    corners
        .windows(2)
        .map(|piece| simpson(piece[0], piece[1]))
        .sum()
}

#[cfg(test)]
mod tests;
