//! Whether what a feed answered can be true as a whole, before any day of it takes the place of a stored one.
//!
//! Archives revise days, and the newest answer is the best one, unless it is nonsense from end to end: degrees
//! of the other unit, minima and maxima swapped, another station's days. Screening sees single values beside
//! their neighbours and is blind to that. So an answer is judged by stretches of [`STRETCH_DAYS`]: days that
//! are known by how many of them it changes and by how much, new ones by what is usual there. What it merely
//! repeats is never judged, and what was not trusted before may change freely.
//!
//! On eleven records of the San Joaquin Valley of 1980 to 2025 no stretch shifted by a day changes fewer than
//! 0.42 of its days by more than [`ROUNDED_F`], and two stations of the Valley differ on more; an archive
//! that revises a tenth of its days stays far below [`MANY`]. Single days may be put right by any amount.
//! New days of a neighbouring station, and new days labelled one day off, cannot be told from true ones.

use std::ops::Range;

use chrono::NaiveDate;

pub use written::Written;

use crate::statistics::median;
use crate::temperature::Unit;

use super::record::Cell;
use super::{Climate, Element, Location, OwnRecord, ReceivedDay, Record, StationFacts, Suspicion};
use written::readings;

mod unlike;
mod written;

/// An answer is judged by so many days at a time: as many as are read again every night.
const STRETCH_DAYS: usize = 60;
/// Two services, or one before and after a revision, round the same reading to within this, °F: whole °C
/// against whole °F make 1.4.
const ROUNDED_F: f64 = 2.0;
/// An answer that changes more than this share of the days it repeats is no revision.
const MANY: f64 = 0.25;
/// Of fewer changed days no share is taken.
const ENOUGH_CHANGED: usize = 5;
/// A change so large is a reading put right, not worked over, °F.
const LARGE_F: f64 = 15.0;
/// More than so many such days in one stretch are no slips of single days.
const MOST_LARGE: usize = 3;
/// More than this share of days, and this many, with the minimum above the maximum: the values are swapped. On
/// the records above there is none.
const CROSSED: (f64, usize) = (0.1, 3);
/// A guess at what happened must explain this share of the values.
const EXPLAINED: f64 = 0.75;

/// What is odd about an answer as a whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Oddity {
    /// Minima stand above maxima.
    Crossed {
        /// Days on which they do.
        days: usize,
        /// Days of the stretch that have both.
        of: usize,
    },
    /// Days that are known differ: many of them, or some by far.
    Changed {
        /// Days that differ.
        days: usize,
        /// Days of the stretch that are known.
        of: usize,
        /// By how much the values that differ do in the median, °F.
        median_f: f64,
        /// What seems to have happened.
        looks: Option<Looks>,
    },
    /// New days are unlike what is usual there, or at any orchard.
    Unlike {
        /// New days of the stretch.
        days: usize,
        /// How far they lie from what is usual in the median, °F; `None` where that is not known.
        median_f: Option<f64>,
        /// What its maxima are.
        maxima: Option<Maxima>,
        /// What seems to have happened.
        looks: Option<Looks>,
    },
}

/// Maxima of a month as an answer has them, the tenth part of either end left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Maxima {
    /// The month, 1 to 12.
    pub month: u32,
    /// The unit that the answer says.
    pub unit: Unit,
    /// The lowest, in that unit.
    pub low: f64,
    /// The highest.
    pub high: f64,
}

/// What seems to have happened to an odd answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Looks {
    /// Its numbers are of another unit than it says.
    OtherUnit(Written),
    /// Its days are labelled one day off.
    DayOff,
    /// It has one value for all days.
    AllEqual,
    /// It marks as doubtful what was good before.
    Doubted,
}

impl Oddity {
    /// The name of one whose numbers are of another unit than it says.
    pub const OTHER_UNIT: &'static str = "other-unit";

    /// The name in the records. An answer that is odd in the same way again is the same question.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Crossed { .. } => "crossed",
            Self::Changed { looks: None, .. } => "changed",
            Self::Unlike { looks: None, .. } => "unlike",
            Self::Changed {
                looks: Some(looks), ..
            }
            | Self::Unlike {
                looks: Some(looks), ..
            } => match looks {
                Looks::OtherUnit(_) => Self::OTHER_UNIT,
                Looks::DayOff => "day-off",
                Looks::AllEqual => "all-equal",
                Looks::Doubted => "doubted",
            },
        }
    }
}

/// Judges an answer before it is merged into a station's record, `own`, of days before `as_of`. Fall-backs say
/// what is usual there while the station's own record is too short for it.
///
/// # Errors
/// What is odd about the newest stretch that is.
pub fn judge_answer(
    answer: &[ReceivedDay],
    own: Option<&OwnRecord>,
    fall_backs: &[&OwnRecord],
    facts: &StationFacts,
    as_of: NaiveDate,
) -> Result<(), Oddity> {
    let Some(answered) = Record::lay(answer, &[], facts, as_of) else {
        return Ok(());
    };
    let records = own.into_iter().chain(fall_backs.iter().copied());
    let judge = Judge {
        known: own.map(OwnRecord::record),
        climate: records.map(OwnRecord::climate).find(|one| one.is_known()),
        location: facts.location,
        unit: answer.first().map_or(Unit::Fahrenheit, |day| day.unit),
        answered,
    };
    stretches(judge.answered.len()).try_for_each(|stretch| {
        let values = judge.values(stretch);
        judge.crossed(&values)?;
        judge.changed(&values)?;
        judge.unlike(&values)
    })
}

/// What an answer is judged by.
struct Judge<'a> {
    answered: Record,
    unit: Unit,
    known: Option<&'a Record>,
    climate: Option<&'a Climate>,
    location: Option<Location>,
}

/// One value of an answer beside what was known before.
struct Value {
    date: NaiveDate,
    element: Element,
    answered: Cell,
    known: Cell,
}

impl Judge<'_> {
    fn values(&self, stretch: Range<usize>) -> Vec<Value> {
        let places = stretch.flat_map(|at| Element::ALL.map(|element| (at, element)));
        let values = places.map(|(at, element)| {
            let date = self.answered.date(at);
            Value {
                date,
                element,
                answered: self.answered.cells(element)[at],
                known: self.known(element, date),
            }
        });
        values
            .filter(|value| value.answered != Cell::Missing)
            .collect()
    }

    fn known(&self, element: Element, date: NaiveDate) -> Cell {
        let cell = self.known.and_then(|known| {
            let at = known.position(date)?;
            Some(known.cells(element)[at])
        });
        cell.unwrap_or_default()
    }

    fn crossed(&self, values: &[Value]) -> Result<(), Oddity> {
        let is_crossed = |value: &&Value| {
            matches!(value.answered, Cell::Suspect(_, Suspicion::MinAboveMax))
                && !matches!(value.known, Cell::Suspect(..))
        };
        let days = days(values.iter().filter(is_crossed));
        let of = days_with_both(values);
        if days >= CROSSED.1 && days as f64 > CROSSED.0 * of as f64 {
            return Err(Oddity::Crossed { days, of });
        }
        Ok(())
    }

    fn changed(&self, values: &[Value]) -> Result<(), Oddity> {
        let known: Vec<&Value> = values.iter().filter(|value| value.is_known()).collect();
        let changed: Vec<&Value> = known
            .iter()
            .copied()
            .filter(|value| value.changes())
            .collect();
        let is_large = |value: &&Value| value.difference_f().abs() > LARGE_F;
        let large = days(changed.iter().copied().filter(is_large));
        let (count, of) = (days(changed.iter().copied()), days(known.iter().copied()));
        let many = count >= ENOUGH_CHANGED && count as f64 > MANY * of as f64;
        if !many && large <= MOST_LARGE {
            return Ok(());
        }
        let mut by: Vec<f64> = changed
            .iter()
            .map(|value| value.difference_f().abs())
            .collect();
        let median_f = median(&mut by).unwrap_or_default();
        Err(Oddity::Changed {
            days: count,
            of,
            median_f,
            looks: self.looks(&known, &changed),
        })
    }

    fn looks(&self, known: &[&Value], changed: &[&Value]) -> Option<Looks> {
        let other_unit = || {
            readings(self.unit).find(|(_, read)| {
                is_explained(known, |value| {
                    Some(read(value.answered_f()) - value.known_f())
                })
            })
        };
        let day_off = |date: Option<NaiveDate>, value: &Value| {
            Some(value.answered_f() - self.known(value.element, date?).usable()?)
        };
        if let Some((written, _)) = other_unit() {
            Some(Looks::OtherUnit(written))
        } else if all_equal(known) {
            Some(Looks::AllEqual)
        } else if is_explained(changed, |value| Some(value.difference_f())) {
            Some(Looks::Doubted)
        } else if is_explained(known, |value| day_off(value.date.pred_opt(), value))
            || is_explained(known, |value| day_off(value.date.succ_opt(), value))
        {
            Some(Looks::DayOff)
        } else {
            None
        }
    }
}

impl Value {
    fn is_known(&self) -> bool {
        self.known.usable().is_some()
    }

    /// Whether it would change a day, or take it away as doubtful.
    fn changes(&self) -> bool {
        self.difference_f().abs() > ROUNDED_F || self.answered.usable().is_none()
    }

    fn answered_f(&self) -> f64 {
        value_of(self.answered)
    }

    fn known_f(&self) -> f64 {
        value_of(self.known)
    }

    fn difference_f(&self) -> f64 {
        self.answered_f() - self.known_f()
    }
}

/// Positions of an answer, the newest stretch first.
fn stretches(len: usize) -> impl Iterator<Item = Range<usize>> {
    let ends = (0..len).step_by(STRETCH_DAYS).map(move |back| len - back);
    ends.map(|end| end.saturating_sub(STRETCH_DAYS)..end)
}

/// The value of a cell that has one, trusted or not, °F.
const fn value_of(cell: Cell) -> f64 {
    match cell {
        Cell::Usable(value) | Cell::ByHand(value) | Cell::Suspect(value, _) => value,
        Cell::Missing => 0.0,
    }
}

/// How many days some values are of; they come in order of days.
fn days<'a>(values: impl Iterator<Item = &'a Value>) -> usize {
    let mut dates: Vec<NaiveDate> = values.map(|value| value.date).collect();
    dates.dedup();
    dates.len()
}

fn days_with_both(values: &[Value]) -> usize {
    values
        .windows(2)
        .filter(|pair| pair[0].date == pair[1].date)
        .count()
}

/// Whether differences are mostly no more than rounding.
fn is_explained(values: &[&Value], difference: impl Fn(&Value) -> Option<f64>) -> bool {
    let close = |value: &&&Value| difference(value).is_some_and(|by| by.abs() <= ROUNDED_F);
    values.iter().filter(close).count() as f64 >= EXPLAINED * values.len() as f64
}

fn all_equal(values: &[&Value]) -> bool {
    Element::ALL.into_iter().all(|element| {
        let mut of_element = values.iter().filter(|value| value.element == element);
        let first = of_element.next().map(|value| value.answered_f());
        of_element.all(|value| Some(value.answered_f()) == first)
    })
}

#[cfg(test)]
mod tests;
