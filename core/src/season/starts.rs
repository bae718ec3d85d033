//! The egg-laying start of every group, each with the heat of its own station.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::id::{GroupId, StationId};
use crate::insect::Insect;
use crate::orchard::{Block, Orchard};
use crate::trapping::{EggLayingStart, KeptStart, Notes, StartView, Visits, start_of_group};

use super::StationHeat;

/// The starts of an orchard's egg-trap groups for one insect, as known on one day. A block may borrow that of
/// a block at another station, so they are read before any season is assessed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct GroupStarts {
    starts: BTreeMap<GroupId, EggLayingStart>,
    to_keep: KeptStarts,
}

/// What estimates that stand still came to, by group.
pub type KeptStarts = BTreeMap<GroupId, KeptStart>;

impl GroupStarts {
    /// Reads them; `heat_of` gives a station's heat as known on that day, and `kept` what was kept of the same
    /// insect and year.
    #[must_use]
    pub fn read<'a>(
        orchard: &Orchard,
        insect: &Insect,
        heat_of: impl Fn(&StationId) -> Option<&'a StationHeat>,
        (visits, notes, kept): (&Visits, &Notes, &KeptStarts),
        as_of: NaiveDate,
    ) -> Self {
        let Some(model) = &insect.start else {
            return Self::default();
        };
        let view = StartView {
            model,
            visits,
            notes,
            as_of,
        };
        let mut read = Self::default();
        let of_crop = orchard.blocks().iter();
        for block in of_crop.filter(|block| insect.crops.contains(&block.crop)) {
            let group = &block.start_group;
            if read.starts.contains_key(group) {
                continue;
            }
            let owner = orchard.block_of_group(group).unwrap_or(block);
            let heat = heat_of(&owner.station).and_then(StationHeat::heat);
            let of_group = start_of_group(orchard, owner, group, (heat, kept.get(group)), view);
            read.starts.insert(group.clone(), of_group.start);
            let to_keep = of_group.to_keep.map(|kept| (group.clone(), kept));
            read.to_keep.extend(to_keep);
        }
        read
    }

    /// What estimates came to that stand still from now on.
    #[must_use]
    pub const fn to_keep(&self) -> &KeptStarts {
        &self.to_keep
    }

    /// The start of a block, from that of the group it uses; `None` where the insect asks for none.
    pub(super) fn of_block(
        &self,
        block: &Block,
        notes: &Notes,
        as_of: NaiveDate,
    ) -> Option<EggLayingStart> {
        let of_group = self.starts.get(&block.start_group)?.clone();
        Some(of_group.in_block(block, notes, as_of))
    }
}
