//! Who looks at the page, and what they may see.

use duskflight_core::id::PersonId;
use duskflight_core::ledger::Role;
use duskflight_core::orchard::{Block, Orchard};

use crate::config::{Config, Person};

/// Who looks. The door puts one into every request that it lets through.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Visitor {
    /// Somebody who signed in, by their id.
    Person(PersonId),
    /// Whoever sits at the machine, where nobody has to sign in: they see what an adviser of all blocks does.
    AtTheMachine,
}

/// A visitor as declared now.
#[derive(Debug, Clone, Copy)]
pub(super) enum Looks<'a> {
    /// Somebody declared.
    As(&'a Person),
    /// Whoever sits at the machine.
    AtAll,
    /// Somebody who is declared no more: they see nothing.
    Nobody,
}

impl Visitor {
    /// As whom they look; `None` where they are declared no more.
    pub(super) fn looks<'a>(&self, config: &'a Config) -> Option<Looks<'a>> {
        match self {
            Self::Person(id) => config.person(id).map(Looks::As),
            Self::AtTheMachine => Some(Looks::AtAll),
        }
    }
}

impl Looks<'_> {
    /// Whether a block is one of theirs: who owns, advises or walks it, and managers of them all.
    pub(super) fn sees(self, block: &Block) -> bool {
        match self {
            Self::AtAll => true,
            Self::Nobody => false,
            Self::As(person) => {
                person.roles.has(Role::Manager)
                    || block.grower == person.id
                    || self.advises(block)
                    || block.scouts.contains(&person.id)
            }
        }
    }

    /// Whether they advise on a block: they see what is provisional, too.
    pub(super) fn advises(self, block: &Block) -> bool {
        match self {
            Self::AtAll => true,
            Self::Nobody => false,
            Self::As(person) => block.is_advised_by(&person.id),
        }
    }

    /// Whether all of a block is shown to them: who advises on it, walks it or minds the work sees what is provisional.
    pub(super) fn advises_or_minds(self, block: &Block) -> bool {
        let walks = matches!(self, Self::As(person) if block.scouts.contains(&person.id));
        walks || self.advises(block) || self.minds_the_work()
    }

    /// Whether they enter readings of a block: who walks it or advises on it, and who is allowed to among its growers.
    pub(super) fn enters(self, block: &Block) -> bool {
        let is_allowed = |person: &Person| {
            block.scouts.contains(&person.id) || (person.enters && block.grower == person.id)
        };
        self.advises(block) || matches!(self, Self::As(person) if is_allowed(person))
    }

    /// Whether there is a block that they enter readings of.
    pub(super) fn may_enter(self, orchard: &Orchard) -> bool {
        orchard.blocks().iter().any(|block| self.enters(block))
    }

    /// Whether they decide what advisers decide.
    pub(super) fn decides(self) -> bool {
        match self {
            Self::AtAll => true,
            Self::Nobody => false,
            Self::As(person) => person.roles.has(Role::Adviser),
        }
    }

    /// Whether they see how the work of the program stands: its runs, its mails, its stations.
    pub(super) fn minds_the_work(self) -> bool {
        match self {
            Self::AtAll => true,
            Self::Nobody => false,
            Self::As(person) => person.roles.has(Role::Adviser) || person.roles.has(Role::Manager),
        }
    }
}
