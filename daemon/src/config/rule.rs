//! A rule by which somebody hears more news than their role brings.

use duskflight_core::id::{BlockId, PersonId};
use duskflight_core::ledger::EventKind;
use duskflight_core::orchard::Block;

/// More news for somebody than their role brings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    /// Who hears.
    pub people: Vec<PersonId>,
    /// Of whose blocks; of everybody's when empty.
    pub growers: Vec<PersonId>,
    /// Of which blocks; of all of them when empty.
    pub blocks: Vec<BlockId>,
    /// Which news.
    pub tell: Vec<EventKind>,
}

impl Rule {
    /// Whether it is about a block.
    #[must_use]
    pub fn is_about(&self, block: &Block) -> bool {
        let all_or = |empty: bool, listed: bool| empty || listed;
        all_or(
            self.growers.is_empty(),
            self.growers.contains(&block.grower),
        ) && all_or(self.blocks.is_empty(), self.blocks.contains(&block.id))
    }

    /// Whether it names a person.
    #[must_use]
    pub fn names(&self, person: &PersonId) -> bool {
        self.people.contains(person)
    }
}
