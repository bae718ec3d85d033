//! Seasons by what they are of.

use std::collections::BTreeMap;

use super::BlockSeason;
use crate::id::{BlockId, InsectId};

/// Seasons by block and insect, so that finding many costs little.
#[derive(Debug, Clone)]
pub struct ByBlock<'a>(BTreeMap<(&'a BlockId, &'a InsectId), &'a BlockSeason>);

impl<'a> ByBlock<'a> {
    /// Of some seasons, one for each block and insect.
    #[must_use]
    pub fn of(seasons: impl IntoIterator<Item = &'a BlockSeason>) -> Self {
        let seasons = seasons.into_iter();
        Self(
            seasons
                .map(|season| ((&season.block.id, &season.insect), season))
                .collect(),
        )
    }

    /// That of one block and insect.
    #[must_use]
    pub fn get(&self, block: &BlockId, insect: &InsectId) -> Option<&'a BlockSeason> {
        self.0.get(&(block, insect)).copied()
    }
}
