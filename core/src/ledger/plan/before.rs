//! What stands before a night: the ledger, and the mails that were made.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use crate::id::{BlockId, PersonId};
use crate::ledger::by_variety::for_block;
use crate::ledger::{CatchUp, MailIdentity, MailKind, Told};
use crate::season::BlockSeason;

/// What each person was told last of each event, by the block. What they were told of marks by variety stands
/// for the block as well.
#[derive(Debug, Clone, Default)]
pub struct Ledger(BTreeMap<PersonId, BTreeMap<BlockId, Vec<Told>>>);

impl Ledger {
    /// From each person's entries.
    #[must_use]
    pub fn new(told: BTreeMap<PersonId, Vec<Told>>) -> Self {
        let by_block = |told: Vec<Told>| {
            let mut blocks: BTreeMap<BlockId, Vec<Told>> = BTreeMap::new();
            for told in told {
                blocks.entry(told.block.clone()).or_default().push(told);
            }
            blocks
        };
        let with_block = |(block, told)| (block, for_block(told));
        let people = told.into_iter();
        let people =
            people.map(|(id, told)| (id, by_block(told).into_iter().map(with_block).collect()));
        Self(people.collect())
    }

    /// Blocks of which a person was told anything.
    pub(super) fn blocks_of(&self, person: &PersonId) -> impl Iterator<Item = &BlockId> {
        self.0.get(person).into_iter().flat_map(BTreeMap::keys)
    }

    /// What a person was told of the blocks of some seasons, in the order of the blocks' ids.
    pub(super) fn of(&self, person: &PersonId, seasons: &[&BlockSeason]) -> Vec<&Told> {
        let Some(told) = self.0.get(person) else {
            return Vec::new();
        };
        let blocks: BTreeSet<&BlockId> = seasons.iter().map(|season| &season.block.id).collect();
        let told = blocks.into_iter().filter_map(|block| told.get(block));
        told.flatten().collect()
    }
}

/// A mail that was folded tonight: it was stuck, and tonight's tells what holds now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Folded {
    /// What it was.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The advisers whose blocks it was about.
    pub advisers: Vec<PersonId>,
}

/// Mails that were made before.
#[derive(Debug, Clone, Default)]
pub struct MadeMails {
    /// Those of tonight's day, tests apart. None of them is made again.
    pub today: BTreeSet<MailIdentity>,
    /// The newest day before of which each adviser was sent a digest, or one waits for them.
    pub newest_digest: BTreeMap<PersonId, NaiveDate>,
    /// The newest day before of which any digest was made, whatever became of it.
    pub last_made: Option<NaiveDate>,
    /// Those that were folded tonight.
    pub folded: Vec<Folded>,
    /// The day of the oldest mail to a person about an adviser's blocks that was folded and not made up for.
    pub silent_from: BTreeMap<(PersonId, PersonId), NaiveDate>,
}

impl MadeMails {
    /// Whether a mail of today was made before. `about`: what it is about beside the adviser's blocks.
    pub(super) fn contains(
        &self,
        kind: MailKind,
        person: &PersonId,
        adviser: Option<&PersonId>,
        about: &str,
    ) -> bool {
        let is_it = |mail: &MailIdentity| {
            mail.kind == kind && mail.adviser.as_ref() == adviser && mail.about == about
        };
        self.of(person).any(is_it)
    }

    /// How many mails of today a person gets already, without rounds and receipts: they tell no news.
    pub(super) fn count(&self, person: &PersonId) -> usize {
        let of_person = self.of(person);
        of_person
            .filter(|mail| !matches!(mail.kind, MailKind::Round | MailKind::Receipt))
            .count()
    }

    fn of(&self, person: &PersonId) -> impl Iterator<Item = &MailIdentity> {
        self.today.iter().filter(|mail| mail.person == *person)
    }

    /// Kinds of a person's mails about an adviser's blocks that were folded tonight.
    pub(super) fn folded(
        &self,
        person: &PersonId,
        adviser: &PersonId,
    ) -> impl Iterator<Item = MailKind> {
        let folded = self.folded.iter();
        let about = folded.filter(|mail| mail.person == *person && mail.advisers.contains(adviser));
        about.map(|mail| mail.kind)
    }

    /// The days that an adviser's digest makes up for: those since the last one that was not given up.
    pub(super) fn digest_catch_up(
        &self,
        adviser: &PersonId,
        owed_before: NaiveDate,
        day: NaiveDate,
    ) -> Option<CatchUp> {
        CatchUp::of(*self.newest_digest.get(adviser)?, owed_before, day)
    }

    /// The days that a person's mail about an adviser's blocks makes up for: nobody was told, or what they
    /// were told was folded.
    pub(super) fn catch_up(
        &self,
        person: &PersonId,
        adviser: &PersonId,
        owed_before: NaiveDate,
        day: NaiveDate,
    ) -> Option<CatchUp> {
        let last_made = self.last_made;
        let silence = last_made.and_then(|last| CatchUp::of(last, owed_before, day));
        let key = (person.clone(), adviser.clone());
        let folded = self.folded(person, adviser).next();
        let silent_from = folded.and_then(|_| self.silent_from.get(&key));
        let before = silent_from.and_then(|from| from.checked_sub_days(Days::new(1)));
        let folded = before.and_then(|before| CatchUp::of(before, day, day));
        match silence {
            Some(silence) => Some(silence.or_longer(folded)),
            None => folded,
        }
    }
}
