//! The marks of a season: passed on a day, projected for a range, or not to be told.

use chrono::{Days, NaiveDate};

use crate::id::MarkId;
use crate::insect::{CountsFrom, Insect, Mark, SpreadSource};
use crate::temperature::DegreeDays;
use crate::trapping::{EggLayingStart, Expected, LayingSeen};

use super::projection::{
    Crossings, Instant, Levels, Projection, Reached, Trajectory, day_of, join,
};
use super::{BlockSplit, StationHeat, WhyNot, new_year};

/// One reading of one mark.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkReading {
    /// The mark.
    pub mark: MarkId,
    /// Its name in mails.
    pub name: String,
    /// Its degree-days.
    pub at: DegreeDays,
    /// What it counts from in this reading.
    pub basis: Basis,
    /// Whether it rests on the egg-laying start, by itself or through the marks before it.
    pub rests_on_start: bool,
    /// Whether the egg laying of a generation begins at it, which goes on for weeks.
    pub begins_laying: bool,
    /// Whether it, or a mark it counts from, waits for the block's first hull split.
    pub waits_for_split: bool,
    /// How many of the distances at which people hear of a mark ahead it has reached; 0 for one that
    /// is not projected.
    pub near: u8,
    /// The day on which it is as near as the first of them, by tonight's projection; `None` where heat decides,
    /// and for one that is not projected.
    pub near_from: Option<NaiveDate>,
    /// Whether people are told of it; a mark whose number disagrees with another one's stands beside.
    pub told: bool,
    /// Whether growers hear of it unless they choose otherwise.
    pub to_growers: bool,
    /// The eggs that the block's own egg traps showed again around the answer's day, where egg laying begins
    /// at it.
    pub eggs_seen: Option<LayingSeen>,
    /// The answer.
    pub outcome: Outcome,
}

/// What a mark counts from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Basis {
    /// The egg-laying start.
    EggLayingStart,
    /// The first of January.
    NewYear,
    /// A mark before it.
    Mark(MarkId),
    /// The later of a mark before it and the block's first hull split of sound nuts, which is known.
    HullSplit(MarkId),
}

/// One of the three answers.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// Its degree-days were reached on a day.
    Passed {
        /// The first day whose end-of-day sum reaches the mark.
        date: NaiveDate,
        /// Whether an estimated day carried it over.
        by_estimate: bool,
        /// Whether measured days carry it: the day itself is measured, or had the run of estimated
        /// days up to it brought no heat at all, the measured days since would have reached it.
        firm: bool,
    },
    /// It is projected for a range of days.
    Projected(Projection),
    /// It cannot be told.
    CannotTell {
        /// Why.
        why: WhyNot,
    },
}

impl Outcome {
    /// The projection, where it is one.
    #[must_use]
    pub const fn projection(&self) -> Option<&Projection> {
        match self {
            Self::Projected(projection) => Some(projection),
            Self::Passed { .. } | Self::CannotTell { .. } => None,
        }
    }

    /// First day, middle and last day of its range, or thrice the day it was passed.
    #[must_use]
    pub const fn days(&self) -> Option<[NaiveDate; 3]> {
        match self {
            Self::Passed { date, .. } => Some([*date; 3]),
            Self::Projected(range) => Some([range.early, range.middle, range.late]),
            Self::CannotTell { .. } => None,
        }
    }
}

/// Reads the marks of an insect in one block, which all its varieties share.
#[derive(Clone, Copy)]
pub(super) struct MarkReader<'a> {
    pub(super) insect: &'a Insect,
    pub(super) start: &'a EggLayingStart,
    pub(super) split: &'a BlockSplit,
    pub(super) heat: &'a StationHeat,
}

/// Whether eggs of a day can still be those of the overwintered brood: the heat since the start is short
/// of the insect's last mark that counts from it, when the next generation lays, even if that comes as
/// early as the earliest published for any generation of the insect.
pub(super) fn is_of_first_brood(
    insect: &Insect,
    heat: &StationHeat,
    start: Option<NaiveDate>,
    day: NaiveDate,
) -> bool {
    let of_start = |mark: &&Mark| mark.from == CountsFrom::EggLayingStart;
    let next = insect
        .marks
        .iter()
        .filter(of_start)
        .map(|mark| mark.at.fahrenheit_days());
    let between = || {
        let (series, newest) = heat.known().ok()?;
        series.sum(start?, day.min(newest)).ok()
    };
    let ranges = insect
        .marks
        .iter()
        .filter_map(|mark| Some((mark.range?.0, mark.at)));
    let shares = ranges.map(|(low, at)| low.fahrenheit_days() / at.fahrenheit_days());
    let earliest = shares.fold(1.0, f64::min);
    match (next.reduce(f64::max), between()) {
        (Some(next), Some(sum)) => sum.degree_days.fahrenheit_days() < next * earliest,
        _ => true,
    }
}

/// Whether a mark, or one it counts from, waits for hull split.
fn waits(insect: &Insect, place: usize) -> bool {
    let mark = &insect.marks[place];
    mark.waits_for_hull_split
        || match mark.from {
            CountsFrom::EggLayingStart | CountsFrom::NewYear => false,
            CountsFrom::Mark(earlier) => waits(insect, earlier),
        }
}

/// What a mark counts from in the end, through the marks before it.
fn root(insect: &Insect, place: usize) -> CountsFrom {
    match insect.marks[place].from {
        CountsFrom::Mark(earlier) => root(insect, earlier),
        root => root,
    }
}

impl MarkReader<'_> {
    /// Every mark, in the insect's order.
    pub(super) fn all(self) -> Vec<MarkReading> {
        (0..self.insect.marks.len())
            .map(|place| self.read(place))
            .collect()
    }

    fn read(&self, place: usize) -> MarkReading {
        let mark = &self.insect.marks[place];
        let outcome = self.answer(Goal::mark(place));
        let rests_on_start = root(self.insect, place) == CountsFrom::EggLayingStart;
        MarkReading {
            mark: mark.id.clone(),
            name: mark.name.clone(),
            at: mark.at,
            basis: self.basis(mark),
            rests_on_start,
            begins_laying: rests_on_start && self.insect.is_generation(place),
            waits_for_split: waits(self.insect, place),
            near: self.near(place, &outcome),
            near_from: self.near_from(&outcome),
            told: mark.told,
            to_growers: mark.to_growers,
            eggs_seen: None,
            outcome,
        }
    }

    /// When the eggs hatch that are laid from the mark at this place on, where the insect's file says how
    /// long that takes.
    pub(super) fn hatch(&self, place: usize) -> Option<Outcome> {
        let mut marks = self.insect.marks.iter();
        let hatch = marks.position(|mark| mark.is_hatch)?;
        Some(self.answer(Goal {
            hatch: Some(hatch),
            ..Goal::mark(place)
        }))
    }

    /// When each past year would have the mark at this place reached: at the low end of its range, at its
    /// own degree-days, and at the high end.
    pub(super) fn yearly(&self, place: usize) -> Result<Vec<[Instant; 3]>, WhyNot> {
        let crossings = self.crossings(Goal::mark(place))?;
        Ok(crossings.iter().map(Crossings::spread).collect())
    }

    fn near(&self, place: usize, outcome: &Outcome) -> u8 {
        let Some(projection) = outcome.projection() else {
            return 0;
        };
        let days_ahead = (projection.early - self.heat.as_of()).num_days();
        self.insect.near.reached(days_ahead, self.missing(place))
    }

    fn near_from(&self, outcome: &Outcome) -> Option<NaiveDate> {
        let ahead = self.insect.near.first_days()?;
        let early = outcome.projection()?.early;
        early.checked_sub_days(Days::new(u64::from(ahead)))
    }

    /// Degree-days that a mark still misses at the newest station day; `None` where what it counts
    /// from is still ahead.
    fn missing(&self, place: usize) -> Option<DegreeDays> {
        let (series, _) = self.heat.known().ok()?;
        let at = self.levels(&Trajectory::known(series), place)?.at;
        let missing = at - series.level(series.len());
        Some(DegreeDays::from_fahrenheit_days(missing))
    }

    fn basis(&self, mark: &Mark) -> Basis {
        match mark.from {
            CountsFrom::EggLayingStart => Basis::EggLayingStart,
            CountsFrom::NewYear => Basis::NewYear,
            CountsFrom::Mark(earlier) => {
                let earlier = self.insect.marks[earlier].id.clone();
                match mark.waits_for_hull_split && self.split.days().is_some() {
                    true => Basis::HullSplit(earlier),
                    false => Basis::Mark(earlier),
                }
            }
        }
    }

    fn answer(&self, goal: Goal) -> Outcome {
        let outcome = self.outcome(goal);
        outcome.unwrap_or_else(|why| Outcome::CannotTell { why })
    }

    fn outcome(&self, goal: Goal) -> Result<Outcome, WhyNot> {
        let from = match root(self.insect, goal.place) {
            CountsFrom::NewYear => new_year(self.heat.as_of()),
            _ => self.start.date.ok_or(WhyNot::NoStart)?,
        };
        let (series, _) = self.heat.known()?;
        let begin_after = WhyNot::BeginAfter {
            first: series.first(),
            from,
        };
        let first = series.position(from).ok_or(begin_after)?;
        let known = Trajectory::known(series);
        let levels = self.goal_levels(&known, goal);
        let passed = match levels.map(|levels| known.reaches(levels.at)) {
            Some(Reached::At(instant)) => Some(instant),
            _ => None,
        };
        let used = passed.map_or(series.len(), |instant| instant.ceil() as usize);
        if let Some(hole) = (first < used)
            .then(|| series.first_hole(first, used))
            .flatten()
        {
            return Err(self.heat.hole(hole));
        }
        match passed {
            Some(instant) => {
                let date = day_of(series, instant);
                let place = series.position(date);
                let estimated = place.map(|place| series.borne_out(place));
                Ok(Outcome::Passed {
                    date,
                    by_estimate: estimated.is_some_and(|borne_out| borne_out.is_some()),
                    firm: estimated.flatten().unwrap_or(true),
                })
            }
            None => self.project(goal).map(Outcome::Projected),
        }
    }

    fn project(&self, goal: Goal) -> Result<Projection, WhyNot> {
        let (series, outlook) = self.heat.outlook()?;
        let crossings = self.crossings(goal)?;
        let of = crossings.len();
        join(series, outlook, &crossings, self.spread(goal.place))
            .map_err(|years| WhyNot::NotReached { years, of })
    }

    /// When each past year would have the mark reached; at least one does.
    fn crossings(&self, goal: Goal) -> Result<Vec<Crossings>, WhyNot> {
        let (series, outlook) = self.heat.outlook()?;
        let crossings: Vec<Crossings> = Trajectory::continued(series, outlook)
            .filter_map(|trajectory| {
                Crossings::of(&trajectory, self.goal_levels(&trajectory, goal)?)
            })
            .collect();
        if crossings.is_empty() {
            let (_, newest) = self.heat.known()?;
            return Err(WhyNot::NoPastYear {
                station: self.heat.station().clone(),
                newest,
            });
        }
        Ok(crossings)
    }

    fn goal_levels(&self, trajectory: &Trajectory<'_>, goal: Goal) -> Option<Levels> {
        let levels = self.levels(trajectory, goal.place)?;
        let Some(hatch) = goal.hatch else {
            return Some(levels);
        };
        // Once the mark is passed its day stands, and the hatch counts from that.
        let from = match trajectory.is_known(levels.at) {
            true => Levels::exactly(levels.at),
            false => levels,
        };
        Some(from.after(&self.insect.marks[hatch]))
    }

    /// A mark's levels on a trajectory, from those of what it counts from.
    fn levels(&self, trajectory: &Trajectory<'_>, place: usize) -> Option<Levels> {
        let mark = &self.insect.marks[place];
        let from = match mark.from {
            CountsFrom::EggLayingStart => self.start_levels(trajectory)?,
            CountsFrom::NewYear => {
                Levels::exactly(trajectory.level_at(new_year(self.heat.as_of()))?)
            }
            CountsFrom::Mark(earlier) => self.levels(trajectory, earlier)?,
        };
        let from = match mark.waits_for_hull_split {
            true => self.after_split(trajectory, from)?,
            false => from,
        };
        Some(from.after(mark))
    }

    /// The start itself, and the days on which laying may have begun.
    fn start_levels(&self, trajectory: &Trajectory<'_>) -> Option<Levels> {
        let likely = self.start.date?;
        let [earliest, latest] = self.start.may_have_begun()?;
        days_levels(
            trajectory,
            Expected {
                earliest,
                likely,
                latest,
            },
        )
    }

    /// The later of a mark and the block's first hull split. Where that may have been an earlier variety's,
    /// of which nothing is known, anything from the mark alone to the known split.
    fn after_split(&self, trajectory: &Trajectory<'_>, mark: Levels) -> Option<Levels> {
        let BlockSplit::Known {
            days,
            unknown_before,
            ..
        } = self.split
        else {
            return Some(mark);
        };
        let later = mark.max(days_levels(trajectory, *days)?);
        Some(match unknown_before.is_empty() {
            true => later,
            false => Levels {
                at: f64::midpoint(mark.at, later.at),
                low: mark.low,
                high: later.high,
            },
        })
    }

    /// Where the spreads of a mark and of those it counts from come from.
    fn spread(&self, place: usize) -> SpreadSource {
        let mark = &self.insect.marks[place];
        match mark.from {
            CountsFrom::Mark(earlier) => mark.spread.source.joined(self.spread(earlier)),
            CountsFrom::EggLayingStart | CountsFrom::NewYear => mark.spread.source,
        }
    }
}

/// What is to be reached: a mark, or the hatch of the eggs laid from it on.
#[derive(Clone, Copy)]
struct Goal {
    place: usize,
    /// The mark that says how long a hatch takes.
    hatch: Option<usize>,
}

impl Goal {
    const fn mark(place: usize) -> Self {
        Self { place, hatch: None }
    }
}

/// The levels of a day that is not certain. An end of it that the trajectory does not reach yet is taken as
/// the likely day.
fn days_levels(trajectory: &Trajectory<'_>, days: Expected) -> Option<Levels> {
    let at = trajectory.level_at(days.likely)?;
    let level = |day| trajectory.level_at(day).unwrap_or(at);
    Some(Levels {
        at,
        low: level(days.earliest),
        high: level(days.latest),
    })
}
