//! Which of a block's moth traps its flights are read from.

use chrono::NaiveDate;

use crate::orchard::{Block, Regime, Trap, TrapKind};
use crate::trapping::caught::traps_of_year;
use crate::trapping::{Counted, Round, rounds};

use super::FlightView;

/// Pheromone traps are far below combined ones that catch so many times as many moths per trap per night.
/// Combined traps catch about half of what pheromone traps do where nothing hides the females. Ours,
/// chosen on simulated seasons; the conventional almond counts published with Burks, Higbee & Beck 2020
/// show three times as many in the second flight.
const TIMES_BELOW: f64 = 3.0;
/// And only once the combined traps caught so many, lest chance decide.
const FEWEST_MOTHS: u32 = 20;
/// Readings of two kinds of trap belong together when they end within so many days.
const TOGETHER_DAYS: i64 = 3;

/// Traps of one kind with their rounds of the year.
pub(super) struct Source<'a> {
    pub(super) kind: TrapKind,
    pub(super) counted: Counted,
    pub(super) traps: Vec<&'a Trap>,
    pub(super) rounds: Vec<Round>,
    /// Why it is not the kind that would be read first.
    pub(super) far_below: Option<FarBelow>,
    /// Kinds that are not read for flights, beside.
    pub(super) beside: Vec<TrapKind>,
}

/// How far pheromone traps were below combined ones when that was first noticed, over the year's rounds
/// read of both. It holds for the rest of the year, so that flights are not read now from one kind and
/// now from the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FarBelow {
    /// The last of these readings.
    pub by: NaiveDate,
    /// Males in the pheromone traps, and the nights behind them over all traps.
    pub males: [u32; 2],
    /// Moths in the combined traps, and their nights.
    pub moths: [u32; 2],
}

impl FarBelow {
    /// Males and moths per trap per night.
    #[must_use]
    pub fn rates(&self) -> [f64; 2] {
        [self.males, self.moths].map(|[count, nights]| f64::from(count) / f64::from(nights.max(1)))
    }
}

/// What flights are read from. Where nothing hides the females: males, else both sexes, else females. Under
/// mating disruption pheromone traps should stay empty: both sexes, else the females of bait bags, which
/// fade as new nuts split. Females are never inferred from an unsexed catch. A kind that was never read
/// comes last.
pub(super) fn source<'a>(block: &Block, view: &FlightView<'a>) -> Option<Source<'a>> {
    let kinds: &[TrapKind] = match block.regime {
        Regime::Conventional => &[
            TrapKind::Pheromone,
            TrapKind::PheromonePpo,
            TrapKind::BaitBag,
        ],
        Regime::MatingDisruption => &[TrapKind::PheromonePpo, TrapKind::BaitBag],
    };
    let hung = kinds.iter().filter_map(|&kind| of_kind(block, kind, view));
    let (read, unread): (Vec<_>, Vec<_>) = hung.partition(|source| !source.rounds.is_empty());
    let mut sources: Vec<Source<'a>> = read.into_iter().chain(unread).collect();
    let combined = sources
        .iter()
        .position(|of| of.kind == TrapKind::PheromonePpo);
    let far_below = combined.and_then(|at| far_below(sources.first()?, &sources[at], view));
    if let (Some(at), Some(_)) = (combined, far_below) {
        sources.swap(0, at);
    }
    let beside = sources.iter().skip(1).map(|of| of.kind).collect();
    let first = sources.into_iter().next()?;
    Some(Source {
        far_below,
        beside,
        ..first
    })
}

fn of_kind<'a>(block: &Block, kind: TrapKind, view: &FlightView<'a>) -> Option<Source<'a>> {
    let (counted, traps) = traps_of_year(view.orchard, block, kind, view.visits, view.as_of)?;
    Some(Source {
        kind,
        counted,
        rounds: rounds_of(&traps, counted, view),
        traps,
        far_below: None,
        beside: Vec::new(),
    })
}

fn rounds_of(traps: &[&Trap], counted: Counted, view: &FlightView<'_>) -> Vec<Round> {
    let FlightView {
        orchard,
        visits,
        lapses,
        as_of,
        ..
    } = *view;
    rounds(orchard, traps, counted, visits, lapses, as_of)
}

/// The first rounds of the year by which pheromone traps are far below the combined ones beside them.
fn far_below(
    pheromone: &Source<'_>,
    combined: &Source<'_>,
    view: &FlightView<'_>,
) -> Option<FarBelow> {
    if pheromone.kind != TrapKind::Pheromone {
        return None;
    }
    let both_sexes = rounds_of(&combined.traps, Counted::Moths, view);
    let mut sum = FarBelow {
        by: NaiveDate::MIN,
        males: [0, 0],
        moths: [0, 0],
    };
    both_sexes.iter().find_map(|moths| {
        let males = pheromone
            .rounds
            .iter()
            .find(|males| together(males, moths))?;
        sum.by = moths.by.max(males.by);
        add(&mut sum.males, males);
        add(&mut sum.moths, moths);
        let [males, moths] = sum.rates();
        (sum.moths[0] >= FEWEST_MOTHS && TIMES_BELOW * males < moths).then_some(sum)
    })
}

fn together(one: &Round, other: &Round) -> bool {
    one.counts() && other.counts() && (one.by - other.by).num_days().abs() <= TOGETHER_DAYS
}

fn add([count, nights]: &mut [u32; 2], round: &Round) {
    *count += round.count;
    *nights += round.trap_nights;
}
