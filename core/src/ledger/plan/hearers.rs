//! Who hears what: by role, by rules that name people, blocks and kinds of news, and by what they were told.

use std::collections::{BTreeMap, BTreeSet};

use chrono::Weekday;

use super::Ledger;
use crate::id::{BlockId, PersonId};
use crate::ledger::{Event, EventKind, Role};
use crate::orchard::Block;
use crate::season::BlockSeason;

/// Somebody who gets mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hearer {
    /// Their id.
    pub id: PersonId,
    /// Their role.
    pub role: Role,
    /// The day of the week of a grower's letter, where it is wanted.
    pub letter: Option<Weekday>,
}

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

/// Everybody who gets mail, in the order in which they are declared, and the rules.
#[derive(Debug, Clone, Copy)]
pub struct Hearers<'a> {
    /// People.
    pub people: &'a [Hearer],
    /// Who hears more than their role brings.
    pub rules: &'a [Rule],
}

impl<'a> Hearers<'a> {
    /// Whether an event of a block goes to a person as a key-date alert. The block's own adviser has it in
    /// the digest.
    #[must_use]
    pub fn is_alerted(&self, person: &PersonId, block: &Block, event: &Event) -> bool {
        let by_role = block.grower == *person && event.concerns(Role::Grower);
        let by_rule = || {
            let about = |rule: &&Rule| rule.names(person) && rule.is_about(block);
            let mut rules = self.rules.iter().filter(about);
            rules.any(|rule| rule.tell.contains(&event.kind()))
        };
        block.adviser != *person && (by_role || by_rule())
    }

    /// Those of whom anything of a block may go as an alert: its grower and whom rules name. Its own adviser
    /// has it in the digest.
    fn alerted(&self, block: &'a Block) -> impl Iterator<Item = &'a PersonId> {
        let about = self.rules.iter().filter(|rule| rule.is_about(block));
        let named = about.flat_map(|rule| &rule.people);
        let all = std::iter::once(&block.grower).chain(named);
        all.filter(|person| **person != block.adviser)
    }
}

/// One adviser's blocks, and which of them each other person hears of.
#[derive(Debug, Default)]
pub(super) struct Practice<'a> {
    /// In the order of the blocks.
    pub(super) seasons: Vec<&'a BlockSeason>,
    /// By the place of the person among all.
    pub(super) heard: BTreeMap<usize, Vec<&'a BlockSeason>>,
}

/// The blocks of each adviser, in one walk over all. Beside those who are alerted stand people who were told
/// of a block when a rule still named them: that is corrected and withdrawn all the same.
pub(super) fn practices<'a>(
    hearers: Hearers<'a>,
    seasons: &'a [BlockSeason],
    ledger: &Ledger,
) -> BTreeMap<&'a PersonId, Practice<'a>> {
    let people = hearers.people.iter().enumerate();
    let places: BTreeMap<&PersonId, usize> = people
        .clone()
        .map(|(at, person)| (&person.id, at))
        .collect();
    let mut told: BTreeMap<&BlockId, Vec<usize>> = BTreeMap::new();
    for (at, person) in people.filter(|(_, person)| person.role != Role::Adviser) {
        for block in ledger.blocks_of(&person.id) {
            told.entry(block).or_default().push(at);
        }
    }
    let mut practices: BTreeMap<&PersonId, Practice<'_>> = BTreeMap::new();
    for season in seasons {
        let practice = practices.entry(&season.block.adviser).or_default();
        practice.seasons.push(season);
        let alerted = hearers.alerted(&season.block);
        let mut hear: BTreeSet<usize> = alerted.filter_map(|id| places.get(id).copied()).collect();
        hear.extend(told.get(&season.block.id).into_iter().flatten());
        for at in hear {
            practice.heard.entry(at).or_default().push(season);
        }
    }
    practices
}
