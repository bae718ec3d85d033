//! Who hears what: by role, and by rules that name people, blocks and kinds of news.

use duskflight_core::ledger::{Event, Role};
use duskflight_core::orchard::Block;

use super::{Config, Person, Rule};

impl Config {
    /// Whether an event of a block goes to a person as a key-date alert. The block's own adviser has it in
    /// the digest.
    #[must_use]
    pub fn is_alerted(&self, person: &Person, block: &Block, event: &Event) -> bool {
        let by_role = block.grower == person.id && event.concerns(Role::Grower);
        let by_rule = || {
            let mut rules = self.rules_of(person, block);
            rules.any(|rule| rule.tell.contains(&event.kind()))
        };
        block.adviser != person.id && (by_role || by_rule())
    }

    /// Whether anything of a block may go to a person as an alert.
    #[must_use]
    pub fn hears_of(&self, person: &Person, block: &Block) -> bool {
        let own = block.grower == person.id;
        block.adviser != person.id && (own || self.rules_of(person, block).next().is_some())
    }

    /// The rules by which a person hears of a block.
    fn rules_of<'a>(
        &'a self,
        person: &'a Person,
        block: &'a Block,
    ) -> impl Iterator<Item = &'a Rule> {
        let of_person = self.rules.iter().filter(|rule| rule.names(&person.id));
        of_person.filter(|rule| rule.is_about(block))
    }
}
