//! A conventional block's egg-laying start beside one that mating disruption may make late.

use chrono::Datelike;

use crate::id::BlockId;
use crate::insect::Insect;
use crate::orchard::{Block, Orchard};
use crate::trapping::{EggLayingStart, Note, Visits, egg_laying_start};

use super::StationHeat;

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
    insect: &Insect,
    heat: &StationHeat,
    visits: &Visits,
    notes: &[Note],
) -> Option<StartBeside> {
    if !start.evidence.may_be_late {
        return None;
    }
    let mut beside = orchard.conventional_beside(block);
    let other = beside.find(|other| {
        let year = heat.as_of().year();
        let mut traps = orchard.egg_traps(&other.start_group);
        let hung = traps.any(|trap| trap.removed.is_none_or(|day| day.year() >= year));
        other.station == block.station && !other.borrows_start() && hung
    })?;
    let rule = insect.start_rule;
    Some(StartBeside {
        block: other.id.clone(),
        name: other.name.clone(),
        start: egg_laying_start(orchard, other, rule, visits, notes, heat.as_of()),
    })
}
