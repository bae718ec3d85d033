//! Who hears what: by role, by rules that name people, blocks and kinds of news, and by what they were told.

use std::collections::{BTreeMap, BTreeSet};

use chrono::Weekday;

use super::Ledger;
use crate::id::{BlockId, PersonId};
use crate::ledger::{EventKind, Fact, Hears, Role, Roles};
use crate::orchard::Block;
use crate::season::BlockSeason;

/// Somebody who gets mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hearer {
    /// Their id.
    pub id: PersonId,
    /// Their name.
    pub name: String,
    /// Their roles.
    pub roles: Roles,
    /// The day of the week of a grower's or a manager's letter, where it is wanted.
    pub letter: Option<Weekday>,
    /// The day of the week on which key dates are gathered; each day as they come where there is none.
    pub key_dates: Option<Weekday>,
    /// Whose rounds they get.
    pub rounds: Rounds,
}

/// Whose rounds somebody gets by mail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rounds {
    /// Those of blocks whose scout they are.
    pub as_scout: bool,
    /// Those of blocks whose adviser they are and which have no scout: the digest has their work, too.
    pub as_adviser: bool,
}

impl Hearer {
    /// Whether what somebody entered was entered by this person.
    pub(super) fn entered(&self, by: &str) -> bool {
        by == self.id.as_str() || by.eq_ignore_ascii_case(&self.name)
    }
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
    /// How a person hears of an event of a block by key-date alerts: what a rule names for them each time, what
    /// growers hear by themselves once. The block's own advisers have it in the digest; what somebody entered is
    /// no news to them.
    #[must_use]
    pub fn alerted(&self, person: &Hearer, block: &Block, fact: &Fact) -> Hears {
        let about = |rule: &&Rule| rule.names(&person.id) && rule.is_about(block);
        let mut rules = self.rules.iter().filter(about);
        let by_rule = rules.any(|rule| rule.tell.contains(&fact.event.kind()));
        let by_role = block.grower == person.id && fact.to_growers;
        let entered = fact
            .entered_by
            .as_ref()
            .is_some_and(|by| person.entered(by));
        match (by_rule, by_role) {
            _ if block.is_advised_by(&person.id) || entered => Hears::Nothing,
            (true, _) => Hears::EachTime,
            (false, true) => Hears::Once,
            (false, false) => Hears::Nothing,
        }
    }

    /// Those who get the rounds of a block: its scouts, or its adviser where it has none; not who chose otherwise.
    pub(super) fn walk(&self, block: &'a Block) -> impl Iterator<Item = &'a PersonId> {
        let scouts = block.scouts.iter().filter(|id| self.rounds(id).as_scout);
        let alone = block.scouts.is_empty().then_some(&block.adviser);
        scouts.chain(alone.filter(|id| self.rounds(id).as_adviser))
    }

    fn rounds(&self, id: &PersonId) -> Rounds {
        let person = self.people.iter().find(|person| person.id == *id);
        let none = Rounds {
            as_scout: false,
            as_adviser: false,
        };
        person.map_or(none, |person| person.rounds)
    }

    /// Those of whom anything of a block may go as an alert or a letter: its grower, managers and whom rules name.
    /// Its own advisers have it in the digest.
    fn hear(&self, block: &'a Block) -> impl Iterator<Item = &'a PersonId> {
        let about = self.rules.iter().filter(|rule| rule.is_about(block));
        let named = about.flat_map(|rule| &rule.people);
        let people = self.people.iter();
        let managers = people.filter(|person| person.roles.has(Role::Manager));
        let managers = managers.map(|person| &person.id);
        let all = std::iter::once(&block.grower).chain(named).chain(managers);
        all.filter(|person| !block.is_advised_by(person))
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
    for (at, person) in people.filter(|(_, person)| !person.roles.has(Role::Adviser)) {
        for block in ledger.blocks_of(&person.id) {
            told.entry(block).or_default().push(at);
        }
    }
    let mut practices: BTreeMap<&PersonId, Practice<'_>> = BTreeMap::new();
    for season in seasons {
        for beside in &season.block.advised_beside {
            practices.entry(beside).or_default().seasons.push(season);
        }
        let practice = practices.entry(&season.block.adviser).or_default();
        practice.seasons.push(season);
        let hear = hearers.hear(&season.block);
        let mut hear: BTreeSet<usize> = hear.filter_map(|id| places.get(id).copied()).collect();
        let told = told.get(&season.block.id).into_iter().flatten();
        hear.extend(told.filter(|at| !season.block.is_advised_by(&hearers.people[**at].id)));
        for at in hear {
            practice.heard.entry(at).or_default().push(season);
        }
    }
    practices
}
