//! Traps wanted in a block by the published densities, beside those that hang.

use chrono::NaiveDate;

use crate::orchard::{Block, Orchard, Regime, Trap, TrapKind};

/// What a trap hangs for. A pheromone trap in a disrupted block is a sentinel: it should stay empty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Purpose {
    /// Eggs, for the start of egg laying.
    Eggs,
    /// Males, for the flights.
    Males,
    /// Both sexes, where males do not find pheromone alone.
    BothSexes,
    /// Whether pheromone traps stay empty under mating disruption.
    Sentinel,
    /// Females, by bait bags.
    Females,
}

impl Purpose {
    const ALL: [Self; 5] = [
        Self::Eggs,
        Self::Males,
        Self::BothSexes,
        Self::Sentinel,
        Self::Females,
    ];

    /// What a trap of a kind hangs for under a regime.
    const fn of(kind: TrapKind, regime: Regime) -> Self {
        match (kind, regime) {
            (TrapKind::Egg, _) => Self::Eggs,
            (TrapKind::Pheromone, Regime::Conventional) => Self::Males,
            (TrapKind::Pheromone, Regime::MatingDisruption) => Self::Sentinel,
            (TrapKind::PheromonePpo, _) => Self::BothSexes,
            (TrapKind::BaitBag, _) => Self::Females,
        }
    }

    /// Whether it is asked for under a regime: egg traps in both, pheromone alone in conventional
    /// blocks, pheromone + PPO and a sentinel in disrupted ones. Common practice, no source.
    const fn is_asked_for(self, regime: Regime) -> bool {
        match self {
            Self::Eggs => true,
            Self::Males => matches!(regime, Regime::Conventional),
            Self::BothSexes | Self::Sentinel => matches!(regime, Regime::MatingDisruption),
            Self::Females => false,
        }
    }

    const fn densities(self) -> &'static [Density] {
        match self {
            Self::Eggs => &[EGG_TRAPS, EGG_TRAPS_IN_LARGE_BLOCKS],
            Self::Males => &[PHEROMONE_TRAPS],
            Self::BothSexes => &[COMBINED_TRAPS],
            Self::Sentinel => &[SENTINELS],
            Self::Females => &[],
        }
    }
}

/// A published or customary number of traps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Density {
    /// Acres to a trap; `None` where the number does not go by acres.
    pub acres_a_trap: Option<f64>,
    /// So many at least.
    pub at_least: u32,
    /// It is meant for blocks above so many acres.
    pub above_acres: f64,
    /// Where it comes from.
    pub source: &'static str,
}

const EGG_TRAPS: Density = Density {
    acres_a_trap: Some(10.0),
    at_least: 4,
    above_acres: 0.0,
    source: "UC IPM almond guideline",
};
const EGG_TRAPS_IN_LARGE_BLOCKS: Density = Density {
    acres_a_trap: Some(20.0),
    at_least: 3,
    above_acres: 80.0,
    source: "a field scouts' page of 2015 that relays UC IPM; pointer only",
};
const PHEROMONE_TRAPS: Density = Density {
    acres_a_trap: Some(50.0),
    at_least: 2,
    above_acres: 0.0,
    source: "relayed from UC IPM; pointer only",
};
const COMBINED_TRAPS: Density = Density {
    source: "as pheromone traps; from memory",
    ..PHEROMONE_TRAPS
};
const SENTINELS: Density = Density {
    acres_a_trap: None,
    at_least: 1,
    above_acres: 0.0,
    source: "common practice, no source",
};

impl Density {
    /// Whether it is meant for a block of that size; one for large blocks only where the size is known.
    fn is_meant_for(&self, acres: Option<f64>) -> bool {
        acres.map_or(self.above_acres == 0.0, |acres| acres > self.above_acres)
    }

    /// Traps for so many acres, a part of one counting as one; `None` where the acres are not known.
    fn traps(&self, acres: Option<f64>) -> Option<u32> {
        let by_acres = match self.acres_a_trap {
            // A number of traps is far below what the type holds; a greater one stays at its end.
            Some(each) => (acres? / each).ceil() as u32,
            None => 0,
        };
        Some(by_acres.max(self.at_least))
    }
}

/// So many traps by one source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// How many; `None` where the block's acres are not declared.
    pub traps: Option<u32>,
    /// By which density.
    pub density: Density,
}

/// What is wanted for one purpose, and what hangs.
#[derive(Debug, Clone, PartialEq)]
pub struct TrapPlan {
    /// The purpose.
    pub purpose: Purpose,
    /// Whether it is asked for under the block's regime.
    pub asked_for: bool,
    /// Traps that hang.
    pub hangs: usize,
    /// The numbers of all sources, the one that goes first first.
    pub wanted: Vec<Wanted>,
}

/// Traps wanted in a block and traps that hang on a day, by purpose.
#[must_use]
pub fn trap_plan(orchard: &Orchard, block: &Block, day: NaiveDate) -> Vec<TrapPlan> {
    let traps = orchard.traps_of(&block.id).filter(|t| t.in_use_on(day));
    let traps: Vec<&Trap> = traps.collect();
    let plans = Purpose::ALL.into_iter().map(|purpose| {
        let asked_for = purpose.is_asked_for(block.regime);
        let hangs = traps.iter();
        let hangs = hangs.filter(|trap| Purpose::of(trap.kind, block.regime) == purpose);
        let densities = purpose.densities().iter().filter(|_| asked_for);
        TrapPlan {
            purpose,
            asked_for,
            hangs: hangs.count(),
            wanted: densities
                .filter(|density| density.is_meant_for(block.acres))
                .map(|density| Wanted {
                    traps: density.traps(block.acres),
                    density: *density,
                })
                .collect(),
        }
    });
    plans
        .filter(|plan| plan.asked_for || plan.hangs > 0)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn block(acres: Option<f64>, regime: Regime) -> Block {
        Block {
            acres,
            regime,
            ..sample::block()
        }
    }

    fn wanted(acres: Option<f64>, regime: Regime, purpose: Purpose) -> Vec<Option<u32>> {
        let plans = trap_plan(&Orchard::default(), &block(acres, regime), date(4, 1));
        let plan = plans.into_iter().find(|plan| plan.purpose == purpose);
        plan.unwrap().wanted.iter().map(|w| w.traps).collect()
    }

    #[test]
    fn egg_traps_are_one_in_ten_acres_and_at_least_four() {
        // UC IPM: 18 acres are 1.8, so the least, 4; 40 are 4; 41 are 4.1, so 5; 80 are 8. Above 80 a
        // pointer has one in twenty beside it: 120 acres are 12 and 6.
        let traps = |acres| wanted(Some(acres), Regime::Conventional, Purpose::Eggs);
        assert_eq!(traps(18.0), [Some(4)]);
        assert_eq!(traps(40.0), [Some(4)]);
        assert_eq!(traps(41.0), [Some(5)]);
        assert_eq!(traps(80.0), [Some(8)]);
        assert_eq!(traps(120.0), [Some(12), Some(6)]);
        let disrupted = wanted(Some(60.0), Regime::MatingDisruption, Purpose::Eggs);
        assert_eq!(disrupted, [Some(6)]);
    }

    #[test]
    fn pheromone_traps_are_one_in_fifty_acres_and_at_least_two() {
        let males = |acres| wanted(Some(acres), Regime::Conventional, Purpose::Males);
        assert_eq!(males(40.0), [Some(2)]);
        assert_eq!(males(160.0), [Some(4)]);
        let both = wanted(Some(160.0), Regime::MatingDisruption, Purpose::BothSexes);
        assert_eq!(both, [Some(4)]);
    }

    #[test]
    fn without_acres_the_number_is_not_known_and_a_sentinel_needs_none() {
        let regime = Regime::MatingDisruption;
        assert_eq!(wanted(None, regime, Purpose::Eggs), [None]);
        assert_eq!(wanted(None, regime, Purpose::BothSexes), [None]);
        assert_eq!(wanted(None, regime, Purpose::Sentinel), [Some(1)]);
    }

    #[test]
    fn traps_that_hang_are_counted_by_what_they_are_for_under_the_regime() {
        let hung = |id: &str, kind| sample::trap(id, kind, date(3, 15));
        let mut lost = hung("E2", TrapKind::Egg);
        lost.removed = Some(date(3, 20));
        let traps = vec![
            hung("E1", TrapKind::Egg),
            lost,
            hung("P1", TrapKind::Pheromone),
            hung("C1", TrapKind::PheromonePpo),
        ];
        let hangs = |regime| {
            let block = block(Some(40.0), regime);
            let orchard = Orchard::new(vec![block.clone()], traps.clone(), Vec::new());
            let plans = trap_plan(&orchard, &block, date(4, 1)).into_iter();
            plans
                .map(|plan| (plan.purpose, plan.asked_for, plan.hangs))
                .collect::<Vec<_>>()
        };
        let disrupted = [
            (Purpose::Eggs, true, 1),
            (Purpose::BothSexes, true, 1),
            (Purpose::Sentinel, true, 1),
        ];
        assert_eq!(hangs(Regime::MatingDisruption), disrupted);
        // A combined trap in a conventional block is there and not asked for.
        let conventional = [
            (Purpose::Eggs, true, 1),
            (Purpose::Males, true, 1),
            (Purpose::BothSexes, false, 1),
        ];
        assert_eq!(hangs(Regime::Conventional), conventional);
    }
}
