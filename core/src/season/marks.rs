//! The marks of a season: passed on a day, projected for a range, or not to be told.

use chrono::{Days, NaiveDate};

use crate::id::MarkId;
use crate::insect::{CountsFrom, Insect, Mark};
use crate::orchard::Block;
use crate::temperature::DegreeDays;
use crate::trapping::{EggLayingStart, Note, NoteKind};

use super::projection::{
    Crossings, Instant, Levels, Projection, Reached, Trajectory, day_of, join,
};
use super::{StationHeat, WhyNot, new_year};

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
    /// The varieties this reading is for.
    pub varieties: Vec<String>,
    /// What this reading knows of those varieties' hull split.
    pub hull_split: HullSplit,
    /// How many of the distances at which people hear of a mark ahead it has reached; 0 for one that
    /// is not projected.
    pub near: u8,
    /// Whether this is the reading people are told. Others stand beside: where hull split is only
    /// expected, the mark read without it; a mark whose number disagrees with another one's.
    pub told: bool,
    /// The answer.
    pub outcome: Outcome,
}

impl MarkReading {
    /// Whether it stands beside a reading that counts from expected hull split.
    #[must_use]
    pub fn is_without_hull_split(&self) -> bool {
        !self.told && self.hull_split != HullSplit::NotAsked
    }
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
    /// The later of a mark before it and first hull split of sound nuts, seen on that day.
    HullSplit(MarkId, NaiveDate),
    /// The later of a mark before it and first hull split, expected on that day.
    HullSplitExpected(MarkId, NaiveDate),
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
}

/// What a reading knows of first hull split of sound nuts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HullSplit {
    /// Neither this mark nor one it counts from waits for it.
    NotAsked,
    /// It is waited for, and nothing is known; the mark counts on from the one before.
    NotEntered,
    /// It is expected on that day.
    Expected(NaiveDate),
    /// It was seen on that day.
    Seen(NaiveDate),
}

impl HullSplit {
    /// Its day, seen or expected.
    #[must_use]
    pub const fn date(self) -> Option<NaiveDate> {
        match self {
            Self::NotAsked | Self::NotEntered => None,
            Self::Expected(date) | Self::Seen(date) => Some(date),
        }
    }
}

/// Reads every mark of the insect, by the varieties' hull split where it matters.
pub(super) fn readings(
    insect: &Insect,
    block: &Block,
    start: &EggLayingStart,
    heat: &StationHeat,
    notes: &[Note],
) -> Vec<MarkReading> {
    let splits = varieties_by_split(block, notes, heat.as_of());
    let all = || block.varieties.clone();
    let reader = Reader {
        insect,
        start,
        heat,
    };
    let mut readings = Vec::new();
    for place in 0..insect.marks.len() {
        if !waits(insect, place) {
            let told = insect.marks[place].told;
            readings.push(reader.read(place, HullSplit::NotAsked, all(), told));
            continue;
        }
        let known = splits.iter().any(|(split, _)| split.date().is_some());
        for (split, varieties) in &splits {
            if known && *split == HullSplit::NotEntered {
                readings.push(reader.not_entered(place, varieties.clone()));
                continue;
            }
            readings.push(reader.read(place, *split, varieties.clone(), true));
            if matches!(split, HullSplit::Expected(_)) {
                readings.push(reader.read(place, HullSplit::NotEntered, varieties.clone(), false));
            }
        }
    }
    readings
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

/// When each past year would have the mark at this place reached: at the low end of the insect's
/// published range, at its own degree-days, and at the high end.
pub(super) fn yearly(
    insect: &Insect,
    start: &EggLayingStart,
    heat: &StationHeat,
    place: usize,
    split: HullSplit,
) -> Result<Vec<[Instant; 3]>, WhyNot> {
    let reader = Reader {
        insect,
        start,
        heat,
    };
    let crossings = reader.crossings(place, split)?;
    Ok(crossings.iter().map(Crossings::spread).collect())
}

/// Varieties grouped by equal hull split, in the block's order.
fn varieties_by_split(
    block: &Block,
    notes: &[Note],
    as_of: NaiveDate,
) -> Vec<(HullSplit, Vec<String>)> {
    let mut groups: Vec<(HullSplit, Vec<String>)> = Vec::new();
    for variety in &block.varieties {
        let split = split_of(variety, notes, as_of);
        match groups.iter_mut().find(|(other, _)| *other == split) {
            Some((_, varieties)) => varieties.push(variety.clone()),
            None => groups.push((split, vec![variety.clone()])),
        }
    }
    groups
}

/// A variety's first hull split this year: seen, else the newest expectation.
pub(super) fn split_of(variety: &str, notes: &[Note], as_of: NaiveDate) -> HullSplit {
    let mut about: Vec<&Note> = notes
        .iter()
        .filter(|note| note.variety.as_deref() == Some(variety))
        .filter(|note| note.is_of_year_to(as_of))
        .collect();
    about.sort_by_key(|note| note.date);
    let seen = about.iter().find(|note| note.kind.shows_hull_split());
    let expected = about.iter().rev().find_map(|note| match note.kind {
        NoteKind::HullSplitExpected(date) => Some(date),
        _ => None,
    });
    match (seen, expected) {
        (Some(note), _) => HullSplit::Seen(note.date),
        (None, Some(date)) => HullSplit::Expected(date),
        (None, None) => HullSplit::NotEntered,
    }
}

struct Reader<'a> {
    insect: &'a Insect,
    start: &'a EggLayingStart,
    heat: &'a StationHeat,
}

impl Reader<'_> {
    fn read(
        &self,
        place: usize,
        split: HullSplit,
        varieties: Vec<String>,
        told: bool,
    ) -> MarkReading {
        let mark = &self.insect.marks[place];
        let outcome = self.outcome(place, split);
        let outcome = outcome.unwrap_or_else(|why| Outcome::CannotTell { why });
        MarkReading {
            mark: mark.id.clone(),
            name: mark.name.clone(),
            at: mark.at,
            basis: self.basis(mark, split),
            rests_on_start: root(self.insect, place) == CountsFrom::EggLayingStart,
            varieties,
            hull_split: split,
            near: self.near(place, split, &outcome),
            told,
            outcome,
        }
    }

    fn near(&self, place: usize, split: HullSplit, outcome: &Outcome) -> u8 {
        let Some(projection) = outcome.projection() else {
            return 0;
        };
        let days_ahead = (projection.middle - self.heat.as_of()).num_days();
        let missing = self.missing(place, split);
        self.insect.near.reached(days_ahead, missing)
    }

    /// Degree-days that a mark still misses at the newest station day; `None` where what it counts
    /// from is still ahead.
    fn missing(&self, place: usize, split: HullSplit) -> Option<DegreeDays> {
        let (series, _) = self.heat.known().ok()?;
        let at = self.levels(&Trajectory::known(series), place, split)?.at;
        let missing = at - series.level(series.len());
        Some(DegreeDays::from_fahrenheit_days(missing))
    }

    /// The answer for varieties that lag behind another one, whose hull split is known: theirs is
    /// still to come or was not entered, and to count without it would be misleading.
    fn not_entered(&self, place: usize, varieties: Vec<String>) -> MarkReading {
        let why = WhyNot::HullSplitNotEntered(varieties.clone());
        MarkReading {
            outcome: Outcome::CannotTell { why },
            near: 0,
            ..self.read(place, HullSplit::NotEntered, varieties, true)
        }
    }

    fn basis(&self, mark: &Mark, split: HullSplit) -> Basis {
        match mark.from {
            CountsFrom::EggLayingStart => Basis::EggLayingStart,
            CountsFrom::NewYear => Basis::NewYear,
            CountsFrom::Mark(earlier) => {
                let earlier = self.insect.marks[earlier].id.clone();
                match split {
                    HullSplit::Seen(day) if mark.waits_for_hull_split => {
                        Basis::HullSplit(earlier, day)
                    }
                    HullSplit::Expected(day) if mark.waits_for_hull_split => {
                        Basis::HullSplitExpected(earlier, day)
                    }
                    _ => Basis::Mark(earlier),
                }
            }
        }
    }

    fn outcome(&self, place: usize, split: HullSplit) -> Result<Outcome, WhyNot> {
        let from = match root(self.insect, place) {
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
        let levels = self.levels(&known, place, split);
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
            None => self.project(place, split).map(Outcome::Projected),
        }
    }

    fn project(&self, place: usize, split: HullSplit) -> Result<Projection, WhyNot> {
        let (series, outlook) = self.heat.outlook()?;
        let crossings = self.crossings(place, split)?;
        let of = crossings.len();
        join(series, outlook, &crossings, self.has_spread(place))
            .map_err(|years| WhyNot::NotReached { years, of })
    }

    /// When each past year would have the mark reached; at least one does.
    fn crossings(&self, place: usize, split: HullSplit) -> Result<Vec<Crossings>, WhyNot> {
        let (series, outlook) = self.heat.outlook()?;
        let crossings: Vec<Crossings> = Trajectory::continued(series, outlook)
            .filter_map(|trajectory| {
                Crossings::of(&trajectory, self.levels(&trajectory, place, split)?)
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

    /// A mark's levels on a trajectory, from those of what it counts from.
    fn levels(
        &self,
        trajectory: &Trajectory<'_>,
        place: usize,
        split: HullSplit,
    ) -> Option<Levels> {
        let mark = &self.insect.marks[place];
        let mut from = match mark.from {
            CountsFrom::EggLayingStart => self.start_levels(trajectory)?,
            CountsFrom::NewYear => {
                Levels::exactly(trajectory.level_at(new_year(self.heat.as_of()))?)
            }
            CountsFrom::Mark(earlier) => self.levels(trajectory, earlier, split)?,
        };
        if let (true, Some(day)) = (mark.waits_for_hull_split, split.date()) {
            let at_split = trajectory.level_at(day)?;
            from = Levels {
                at: from.at.max(at_split),
                low: from.low.max(at_split),
                high: from.high.max(at_split),
                from_check: from.from_check.max(at_split),
            };
        }
        let (low, high) = mark.range.unwrap_or((mark.at, mark.at));
        Some(Levels {
            at: from.at + mark.at.fahrenheit_days(),
            low: from.low + low.fahrenheit_days(),
            high: from.high + high.fahrenheit_days(),
            from_check: from.from_check + mark.at.fahrenheit_days(),
        })
    }

    /// The start itself; laying may have begun on any day after the check before it.
    fn start_levels(&self, trajectory: &Trajectory<'_>) -> Option<Levels> {
        let start = self.start.date?;
        let at = trajectory.level_at(start)?;
        let earliest = self.start.evidence.check_before.and_then(|check| {
            let day = check.checked_add_days(Days::new(1))?.min(start);
            trajectory.level_at(day)
        });
        Some(Levels {
            from_check: earliest.unwrap_or(at),
            ..Levels::exactly(at)
        })
    }

    /// Whether the insect's own spread is published for a mark.
    fn has_spread(&self, place: usize) -> bool {
        self.insect.marks[place].range.is_some()
    }
}
