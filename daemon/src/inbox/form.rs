//! What a person may speak of in an answer.

use chrono::NaiveDate;
use duskflight_core::answer::{Form, FormBlock, FormTrap};
use duskflight_core::id::TrapId;
use duskflight_core::orchard::{Block, Orchard};

use super::told::DaysTold;
use crate::config::{Config, Person};

/// Their blocks and traps of a day, to answer a mail about some traps that told of readings of some days.
pub(super) fn form(
    config: &Config,
    person: &Person,
    (asked, told): (Vec<TrapId>, &DaysTold),
    day: NaiveDate,
) -> Form {
    let orchard = config.orchard_up_to(day);
    let own: Vec<&Block> = orchard
        .blocks()
        .iter()
        .filter(|block| is_own(block, person))
        .collect();
    Form {
        asked,
        traps: own
            .iter()
            .flat_map(|block| traps(&orchard, block, told))
            .collect(),
        blocks: own
            .iter()
            .map(|block| FormBlock {
                id: block.id.clone(),
                name: block.name.clone(),
                varieties: block.varieties.clone(),
            })
            .collect(),
    }
}

/// Whether a person enters readings of a block: who scouts it and who advises on it.
fn is_own(block: &Block, person: &Person) -> bool {
    block.scouts.contains(&person.id) || block.is_advised_by(&person.id)
}

fn traps<'a>(
    orchard: &'a Orchard,
    block: &'a Block,
    told: &'a DaysTold,
) -> impl Iterator<Item = FormTrap> + 'a {
    orchard.traps_of(&block.id).map(|trap| FormTrap {
        id: trap.id.clone(),
        block: trap.block.clone(),
        kind: trap.kind,
        told: told.of(&trap.id),
    })
}
