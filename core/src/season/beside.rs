//! What a season is set beside: earlier years, a conventional block's start, the disruption check, what
//! else bears on risk.

use chrono::{Datelike, NaiveDate};

use crate::id::BlockId;
use crate::orchard::{Block, Orchard};
use crate::trapping::{Disruption, EggLayingStart, Notes};

use super::{Comparison, GroupStarts, HeatOfYear, RiskFacts};

/// What a season is set beside. No mark rests on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// A conventional block's start, where this one may be late.
    pub start: Option<StartBeside>,
    /// Catches beside those of earlier years, by kind of trap.
    pub years: Vec<Comparison>,
    /// What the traps show of mating disruption; `None` in a conventional block.
    pub disruption: Option<Disruption>,
    /// What decides risk beside catches.
    pub risk: RiskFacts,
    /// Heat since 1 January; `None` while days are missing.
    pub heat_of_year: Option<HeatOfYear>,
}

/// The start of another block.
#[derive(Debug, Clone, PartialEq)]
pub struct StartBeside {
    /// That block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// Its start, as known on the same day.
    pub start: EggLayingStart,
}

/// The start of a conventional block of the same station that has egg traps of its own, where one of
/// this block may be late. Which is the nearest nobody can say, without coordinates.
pub(super) fn start_beside(
    orchard: &Orchard,
    block: &Block,
    start: &EggLayingStart,
    (starts, notes): (&GroupStarts, &Notes),
    as_of: NaiveDate,
) -> Option<StartBeside> {
    if !start.evidence.may_be_late {
        return None;
    }
    let mut beside = orchard.conventional_beside(block);
    let other = beside.find(|other| {
        let year = as_of.year();
        let mut traps = orchard.egg_traps(&other.start_group);
        let hung = traps.any(|trap| trap.removed.is_none_or(|day| day.year() >= year));
        other.station == block.station && !other.borrows_start() && hung
    })?;
    Some(StartBeside {
        block: other.id.clone(),
        name: other.name.clone(),
        start: starts.of_block(other, notes, as_of)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::StationId;
    use crate::orchard::{Regime, TrapKind};
    use crate::sample;
    use crate::season::tests::date;
    use crate::trapping::{Note, NoteKind, StartStatus};
    use crate::wording::Words;

    fn block(id: &str, regime: Regime, station: &str) -> Block {
        let id = BlockId::new(id).unwrap();
        Block {
            name: format!("Block {id}"),
            start_group: crate::orchard::own_group(&id),
            station: StationId::new(station).unwrap(),
            regime,
            id,
            ..sample::block()
        }
    }

    /// The season of the disrupted block `D` on 1 June, among others that each have one egg trap.
    fn season(others: Vec<Block>) -> crate::season::BlockSeason {
        let disrupted = block("D", Regime::MatingDisruption, "S");
        let blocks: Vec<Block> = std::iter::once(disrupted).chain(others).collect();
        let traps = blocks.iter().map(|block| {
            let id = format!("E-{}", block.id);
            sample::served_trap(&id, block.id.as_str(), TrapKind::Egg, date(2021, 3, 10))
        });
        let traps = traps.collect();
        let start = Note {
            block: BlockId::new("K").unwrap(),
            ..sample::note(
                date(2021, 5, 1),
                None,
                NoteKind::EggLayingStart(date(2021, 4, 18).into()),
            )
        };
        let orchard = Orchard::new(blocks, traps, Vec::new());
        sample::season(&orchard, Vec::new(), &[start], date(2021, 6, 1))
    }

    #[test]
    fn a_start_that_may_be_late_stands_beside_that_of_a_conventional_block() {
        let season = season(vec![
            block("M", Regime::MatingDisruption, "S"),
            block("F", Regime::Conventional, "far"),
            block("K", Regime::Conventional, "S"),
        ]);
        let beside = season.beside.start.as_ref().unwrap();
        assert_eq!(beside.block.as_str(), "K");
        assert_eq!(beside.start.status, StartStatus::ByHand);
        let line = "beside it Block K, a conventional block of the same station: egg-laying start set by \
                    hand Apr 18";
        let lines = Words::default().start_evidence(&season);
        assert!(lines.iter().any(|other| other == line), "{lines:?}");
    }

    #[test]
    fn where_none_stands_beside_it_that_is_said() {
        let season = season(vec![block("F", Regime::Conventional, "far")]);
        assert_eq!(season.beside.start, None);
        let line = "no conventional block of the same station has egg traps";
        let lines = Words::default().start_evidence(&season);
        assert!(lines.iter().any(|other| other == line), "{lines:?}");
    }
}
