//! Which news of one grower's blocks share a mail: what several of them reach within a few days.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, TimeDelta};

use crate::id::{BlockId, InsectId, PersonId};
use crate::ledger::{Change, Event, Fact, Notice, State};
use crate::season::BlockSeason;

/// What one grower's blocks reach, each in its own time.
type Reached<'a> = (&'a PersonId, &'a InsectId, &'a Event);

/// The window within which blocks of one grower share a mail, as it opens on one day.
#[derive(Debug, Clone, Copy)]
pub(super) struct Window {
    pub(super) today: NaiveDate,
    pub(super) days: TimeDelta,
}

/// Growers by their blocks.
pub(super) struct Growers<'a>(BTreeMap<&'a BlockId, &'a PersonId>);

impl<'a> Growers<'a> {
    pub(super) fn of(seasons: &[&'a BlockSeason]) -> Self {
        let growers = seasons
            .iter()
            .map(|season| (&season.block.id, &season.block.grower));
        Self(growers.collect())
    }

    fn of_fact<'b>(&self, fact: &'b Fact) -> Option<Reached<'b>>
    where
        'a: 'b,
    {
        Some((self.0.get(&fact.block)?, &fact.insect, &fact.event))
    }

    fn of_notice<'b>(&self, notice: &'b Notice) -> Option<Reached<'b>>
    where
        'a: 'b,
    {
        Some((self.0.get(&notice.block)?, &notice.insect, &notice.event))
    }
}

impl Window {
    /// Brings forward what the grower's other blocks reach within the window, where it is news of one of them
    /// tonight: it is told in the same mail, as a range. What joins opens no window of its own.
    pub(super) fn join(self, facts: &mut [Fact], news: &[Notice], growers: &Growers<'_>) {
        let is_new = |notice: &&Notice| matches!(notice.change, Change::New(_));
        let opened = news
            .iter()
            .filter(is_new)
            .filter_map(|notice| growers.of_notice(notice));
        let opened: BTreeSet<Reached<'_>> = opened.collect();
        for fact in facts {
            let joins = fact
                .foreseen
                .is_some_and(|day| day <= self.today + self.days)
                && growers
                    .of_fact(fact)
                    .is_some_and(|reached| opened.contains(&reached));
            if let State::Now { step, .. } = &mut fact.state
                && joins
            {
                *step = (*step).max(1);
            }
        }
    }

    /// Which notices wait for those of the grower's other blocks: starts, which cannot be foreseen and press
    /// nobody, from the first of them until all are known, for so many days at the most. Not those set by hand,
    /// and none where other news of the block is due.
    pub(super) fn waits(
        self,
        notices: &[Notice],
        facts: &[Fact],
        growers: &Growers<'_>,
    ) -> Vec<bool> {
        let starts = |fact: &&Fact| fact.event == Event::Start;
        let mut awaited = BTreeSet::new();
        let mut knowable = BTreeMap::new();
        for fact in facts.iter().filter(starts) {
            knowable.insert((&fact.block, &fact.insect), fact.knowable);
            if !matches!(fact.state, State::Now { .. }) {
                awaited.extend(growers.of_fact(fact));
            }
        }
        let is_start = |notice: &Notice| {
            notice.event == Event::Start && matches!(notice.change, Change::New(_))
        };
        let pressing: BTreeSet<&BlockId> = notices
            .iter()
            .filter(|n| !is_start(n))
            .map(|n| &n.block)
            .collect();
        // Since when the first of a grower's starts is known; never for one that does not wait.
        let mut since: BTreeMap<Reached<'_>, NaiveDate> = BTreeMap::new();
        for notice in notices.iter().filter(|notice| is_start(notice)) {
            let known = knowable
                .get(&(&notice.block, &notice.insect))
                .copied()
                .flatten();
            let known = known.filter(|_| !pressing.contains(&notice.block));
            if let Some(reached) = growers.of_notice(notice) {
                let first = since.entry(reached).or_insert(NaiveDate::MAX);
                *first = (*first).min(known.unwrap_or(NaiveDate::MIN));
            }
        }
        let waits = |notice: &Notice| {
            let reached = growers.of_notice(notice)?;
            let first = since.get(&reached).filter(|_| is_start(notice))?;
            let ends = first.checked_add_signed(self.days)?;
            Some(awaited.contains(&reached) && self.today < ends)
        };
        notices
            .iter()
            .map(|notice| waits(notice).unwrap_or(false))
            .collect()
    }
}
