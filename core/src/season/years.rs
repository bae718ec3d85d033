//! This year's catches beside those of earlier years, by date and by degree-days. No threshold exists;
//! what was caught at the same place in earlier years is all there is to compare with (common practice,
//! no source), and catches have not predicted damage reliably: the best predictors leave half of it
//! unexplained (Higbee & Burks 2021, Insects 12:188).

mod cuts;
mod differ;

pub use differ::Difference;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, NaiveDate};

use crate::id::{BlockId, ProductId, TrapId};
use crate::orchard::{Block, Orchard, Place, Regime, Trap, TrapKind};
use crate::same_day::same_day;
use crate::temperature::DegreeDays;
use crate::trapping::{Haul, Interval, Visits, attractants, haul, intervals};

use super::{StationHeat, WhyNot};
use cuts::HeatCuts;
use differ::differences;

/// With fewer comparable seasons this one is given no place among them.
pub const FEWEST_SEASONS: usize = 3;

/// Catches of one kind of trap to date, this season and earlier ones.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// The kind of trap.
    pub kind: TrapKind,
    /// Whether they are those of the farm's other blocks of the same crop and regime, since the block
    /// itself has no earlier season.
    pub of_farm: bool,
    /// Each season to the same day of the year.
    pub by_date: Aligned,
    /// Each season to the same degree-days since 1 January, or why that cannot be told.
    pub by_heat: Result<ByHeat, WhyNotByHeat>,
}

/// Why seasons cannot be compared to the same degree-days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyNotByHeat {
    /// There is no heat to go by.
    NoHeat(WhyNot),
    /// This year has no temperatures yet.
    NoneThisYear,
    /// This year has no degree-days yet.
    NoHeatThisYear,
}

impl From<WhyNot> for WhyNotByHeat {
    fn from(why: WhyNot) -> Self {
        Self::NoHeat(why)
    }
}

/// Seasons to the same degree-days.
#[derive(Debug, Clone, PartialEq)]
pub struct ByHeat {
    /// Degree-days since 1 January, to the newest station day.
    pub degree_days: DegreeDays,
    /// The seasons.
    pub seasons: Aligned,
    /// Earlier seasons without whole temperatures to that sum, newest first.
    pub unknown: Vec<i32>,
}

/// Seasons cut at days that correspond.
#[derive(Debug, Clone, PartialEq)]
pub struct Aligned {
    /// This season; `None` where nothing was read yet.
    pub this: Option<SeasonCatch>,
    /// Earlier ones with a reading, newest first, each with what differs.
    pub earlier: Vec<(SeasonCatch, Vec<Difference>)>,
}

/// One season's catch to a day.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonCatch {
    /// The season.
    pub year: i32,
    /// The last day on which a reading counts.
    pub to: NaiveDate,
    /// What was caught.
    pub haul: Haul,
    /// The regime on that day, where the block was declared by then.
    pub regime: Option<Regime>,
    lures: Option<BTreeSet<ProductId>>,
    places: BTreeSet<Spot>,
}

/// Where a trap hung; a trap that is moved is another trap.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Spot {
    Place(BlockId, Place),
    Trap(TrapId),
}

impl Aligned {
    /// Earlier seasons in which nothing differs.
    pub fn comparable(&self) -> impl Iterator<Item = &SeasonCatch> {
        let alike = self.earlier.iter().filter(|(_, differ)| differ.is_empty());
        alike.map(|(season, _)| season)
    }

    /// In how many of how many comparable seasons the catch was lower than in this one; `None` with
    /// fewer than [`FEWEST_SEASONS`].
    #[must_use]
    pub fn standing(&self) -> Option<(usize, usize)> {
        let now = self.this.as_ref()?.haul.per_trap_night();
        let seasons = self.comparable().count();
        let lower = self
            .comparable()
            .filter(|season| season.haul.per_trap_night() < now);
        (seasons >= FEWEST_SEASONS).then(|| (lower.count(), seasons))
    }
}

/// Compares the catches of a block's traps with those of earlier years, or of the other blocks of its
/// farm where it has none. Empty where nothing was read in an earlier year.
pub(super) fn years(
    orchard: &Orchard,
    block: &Block,
    heat: &StationHeat,
    visits: &Visits,
) -> Vec<Comparison> {
    let as_of = heat.as_of();
    let read = |blocks: Vec<&Block>| Record::new(orchard, &blocks, visits, as_of);
    let before = |trap: &Trap| trap.hung.year() < as_of.year();
    let is_trapped = orchard.traps_of(&block.id).any(before);
    let own = read(is_trapped.then_some(block).into_iter().collect());
    if own.has_earlier() {
        return own.compare(heat, false);
    }
    let alike = |other: &&Block| {
        other.id != block.id && other.crop == block.crop && other.regime == block.regime
    };
    let trapped = orchard.trapped_before(&block.grower, as_of.year());
    let farm = read(trapped.filter(alike).collect());
    match farm.has_earlier() {
        true => farm.compare(heat, true),
        false => Vec::new(),
    }
}

/// The readings of all years of some blocks that are kept alike today.
struct Record<'a> {
    orchard: &'a Orchard,
    readings: Vec<(&'a Trap, Vec<Interval>)>,
    as_of: NaiveDate,
}

impl<'a> Record<'a> {
    fn new(orchard: &'a Orchard, blocks: &[&Block], visits: &Visits, as_of: NaiveDate) -> Self {
        let traps = blocks.iter().flat_map(|block| orchard.traps_of(&block.id));
        let readings = traps.map(|trap| {
            let mut of_trap = intervals(orchard, trap, visits, as_of);
            of_trap.retain(Interval::is_of_one_year);
            (trap, of_trap)
        });
        Self {
            orchard,
            readings: readings
                .filter(|(_, of_trap)| !of_trap.is_empty())
                .collect(),
            as_of,
        }
    }

    /// Years before this one with a reading, newest first.
    fn earlier_years(&self) -> Vec<i32> {
        let all = self.readings.iter().flat_map(|(_, of_trap)| of_trap);
        let years: BTreeSet<i32> = all.map(|reading| reading.to.year()).collect();
        let earlier = years.into_iter().rev();
        earlier.filter(|year| *year < self.as_of.year()).collect()
    }

    fn has_earlier(&self) -> bool {
        !self.earlier_years().is_empty()
    }

    /// One comparison for each kind of trap that was read this year.
    fn compare(&self, heat: &StationHeat, of_farm: bool) -> Vec<Comparison> {
        let years = self.earlier_years();
        let by_date: BTreeMap<i32, NaiveDate> = years
            .iter()
            .filter_map(|year| Some((*year, same_day(self.as_of, *year)?)))
            .collect();
        let by_heat = HeatCuts::new(heat, &years);
        let kinds: BTreeSet<TrapKind> = self
            .readings
            .iter()
            .filter(|(_, of_trap)| of_trap.iter().any(|r| r.to.year() == self.as_of.year()))
            .map(|(trap, _)| trap.kind)
            .collect();
        kinds
            .into_iter()
            .map(|kind| Comparison {
                kind,
                of_farm,
                by_date: self.aligned(kind, self.as_of, &by_date),
                by_heat: by_heat.as_ref().map_err(Clone::clone).map(|cuts| ByHeat {
                    degree_days: cuts.degree_days,
                    seasons: self.aligned(kind, cuts.this, &cuts.earlier),
                    unknown: cuts.unknown.clone(),
                }),
            })
            .collect()
    }

    fn aligned(&self, kind: TrapKind, to: NaiveDate, cuts: &BTreeMap<i32, NaiveDate>) -> Aligned {
        let this = self.season(kind, to);
        let earlier = cuts.iter().rev().filter_map(|(_, to)| {
            let then = self.season(kind, *to);
            let (then, other_kind) = match then {
                Some(then) => (then, None),
                None => self.of_another_kind(kind, *to)?,
            };
            let differ = match (&this, other_kind) {
                (_, Some(kind)) => vec![Difference::Kind(kind)],
                (Some(this), None) => differences(this, &then),
                (None, None) => Vec::new(),
            };
            Some((then, differ))
        });
        Aligned {
            earlier: earlier.collect(),
            this,
        }
    }

    /// What traps of another kind caught where moths were counted with those instead.
    fn of_another_kind(
        &self,
        kind: TrapKind,
        to: NaiveDate,
    ) -> Option<(SeasonCatch, Option<TrapKind>)> {
        let of_moths = [
            TrapKind::Pheromone,
            TrapKind::PheromonePpo,
            TrapKind::BaitBag,
        ];
        let mut others = of_moths.into_iter().filter(|other| *other != kind);
        others
            .find_map(|other| Some((self.season(other, to)?, Some(other))))
            .filter(|_| of_moths.contains(&kind))
    }

    /// The catch of one kind of trap from 1 January of a day's year to that day.
    fn season(&self, kind: TrapKind, to: NaiveDate) -> Option<SeasonCatch> {
        let in_time = |reading: &&Interval| reading.to.year() == to.year() && reading.to <= to;
        let of_kind = self.readings.iter().filter(|(trap, _)| trap.kind == kind);
        let read: Vec<(&Trap, Interval)> = of_kind
            .flat_map(|(trap, of_trap)| {
                let of_trap = of_trap.iter().filter(in_time);
                of_trap.map(|reading| (*trap, *reading))
            })
            .collect();
        let haul = haul(read.iter().copied())?;
        let traps: BTreeMap<&TrapId, &Trap> =
            read.iter().map(|(trap, _)| (&trap.id, *trap)).collect();
        let traps = || traps.values().copied();
        Some(SeasonCatch {
            year: to.year(),
            to,
            haul,
            regime: self.regime(traps(), to),
            lures: lures(self.orchard, traps()),
            places: traps().map(spot).collect(),
        })
    }

    /// The regime of the traps' blocks on a day, where that is one.
    fn regime<'t>(&self, traps: impl Iterator<Item = &'t Trap>, day: NaiveDate) -> Option<Regime> {
        let of_trap = |trap: &Trap| Some(self.orchard.block_on(&trap.block, day)?.regime);
        let mut regimes = traps.map(of_trap);
        let first = regimes.next()??;
        regimes.all(|other| other == Some(first)).then_some(first)
    }
}

fn lures<'t>(
    orchard: &Orchard,
    traps: impl Iterator<Item = &'t Trap>,
) -> Option<BTreeSet<ProductId>> {
    let mut all = BTreeSet::new();
    for trap in traps {
        let products = attractants(orchard, trap)?.into_iter();
        all.extend(products.map(|(_, product)| product.id.clone()));
    }
    Some(all)
}

/// The way to the tree; on which round it is read makes no other place of it.
fn spot(trap: &Trap) -> Spot {
    let place = Place {
        route: String::new(),
        ..trap.place.clone()
    };
    match place == Place::default() {
        true => Spot::Trap(trap.id.clone()),
        false => Spot::Place(trap.block.clone(), place),
    }
}

#[cfg(test)]
mod tests;
