//! The moths of a year, kind of trap by kind of trap, as rounds of readings.

use chrono::{Datelike, NaiveDate};

use crate::orchard::{Block, Orchard, Trap, TrapKind};

use super::{Counted, Lapse, Round, Visits, rounds};

/// The kinds of trap that catch moths.
const OF_MOTHS: [TrapKind; 3] = [
    TrapKind::Pheromone,
    TrapKind::PheromonePpo,
    TrapKind::BaitBag,
];

/// What a block's traps of one kind caught in a year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caught {
    /// The kind of trap.
    pub kind: TrapKind,
    /// What was counted.
    pub counted: Counted,
    /// Its rounds, oldest first.
    pub rounds: Vec<Round>,
}

/// This year's rounds of a block's moth traps up to `as_of`, by kind; kinds never read are left out.
#[must_use]
pub fn caught(
    orchard: &Orchard,
    block: &Block,
    visits: &Visits,
    lapses: &[Lapse],
    as_of: NaiveDate,
) -> Vec<Caught> {
    let of_kind = |kind| {
        let (counted, traps) = traps_of_year(orchard, block, kind, visits, as_of)?;
        Some(Caught {
            kind,
            counted,
            rounds: rounds(orchard, &traps, counted, visits, lapses, as_of),
        })
    };
    let all = OF_MOTHS.into_iter().filter_map(of_kind);
    all.filter(|caught| !caught.rounds.is_empty()).collect()
}

/// A block's traps of one kind that hung in the year of a day, and what is counted on them: females
/// only where every catch was sexed. `None` without one.
pub(super) fn traps_of_year<'a>(
    orchard: &'a Orchard,
    block: &Block,
    kind: TrapKind,
    visits: &Visits,
    as_of: NaiveDate,
) -> Option<(Counted, Vec<&'a Trap>)> {
    let new_year = as_of.with_ordinal0(0)?;
    let in_year =
        |trap: &&Trap| trap.hung <= as_of && trap.removed.is_none_or(|removed| removed >= new_year);
    let traps = orchard.traps_of(&block.id).filter(in_year);
    let traps: Vec<&Trap> = traps.filter(|trap| trap.kind == kind).collect();
    let counted = match kind {
        TrapKind::Pheromone => Counted::Males,
        _ if all_sexed(&traps, visits, new_year, as_of) => Counted::Females,
        _ => Counted::Moths,
    };
    (!traps.is_empty()).then_some((counted, traps))
}

/// Whether every count of these traps since a day was sexed.
fn all_sexed(traps: &[&Trap], visits: &Visits, since: NaiveDate, as_of: NaiveDate) -> bool {
    let seen = traps.iter().flat_map(|trap| visits.of(&trap.id, as_of));
    let counted = seen.filter(|visit| visit.date >= since && visit.all_moths().is_some());
    let mut counted = counted.peekable();
    counted.peek().is_some()
        && counted.all(|visit| visit.females.is_some() && visit.moths.is_none())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;
    use crate::trapping::Visit;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    #[test]
    fn each_kind_of_moth_trap_has_its_own_rounds_and_egg_traps_have_none() {
        let hung = date(4, 1);
        let traps = vec![
            sample::trap("E1", TrapKind::Egg, hung),
            sample::trap("P1", TrapKind::Pheromone, hung),
            sample::trap("W1", TrapKind::BaitBag, hung),
            sample::trap("W2", TrapKind::PheromonePpo, hung),
        ];
        let read = |trap: &str, moths, females| Visit {
            moths,
            females,
            males: (trap == "P1").then_some(8),
            ..sample::visit(trap, date(4, 9))
        };
        let visits = vec![
            Visit {
                eggs: Some(5),
                ..sample::visit("E1", date(4, 9))
            },
            read("P1", None, None),
            read("W1", None, Some(2)),
        ];
        let orchard = Orchard::new(vec![sample::block()], traps, Vec::new());
        let visits = Visits::new(visits);
        let found = caught(&orchard, &orchard.blocks()[0], &visits, &[], date(5, 1));
        let found: Vec<_> = found
            .iter()
            .map(|of| (of.kind, of.counted, of.rounds[0].count))
            .collect();
        // The trap with PPO was never read.
        assert_eq!(
            found,
            [
                (TrapKind::Pheromone, Counted::Males, 8),
                (TrapKind::BaitBag, Counted::Females, 2)
            ]
        );
    }
}
