//! Why told values changed: what came into the records since they were told.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::{BlockId, StationId};
use duskflight_core::ledger::plan::MailPlan;
use duskflight_core::ledger::{Notice, Since};
use duskflight_core::season::{BlockSeason, ByBlock};
use rusqlite::Connection;

use super::since::since;
use super::{Night, TellError};
use crate::config::Config;

/// The cause of each change, by its block and the key of its event.
#[derive(Debug, Clone, Default)]
pub struct Causes(BTreeMap<(BlockId, String), String>);

impl Causes {
    /// That of a notice, where it is known.
    #[must_use]
    pub fn of(&self, notice: &Notice) -> Option<String> {
        self.0.get(&key(notice)).cloned()
    }
}

fn key(notice: &Notice) -> (BlockId, String) {
    (notice.block.clone(), notice.event.to_string())
}

/// What came in since each day of telling of which something has changed, read once for all mails.
pub(super) struct SinceTold<'a> {
    seasons: ByBlock<'a>,
    since: BTreeMap<(StationId, NaiveDate), Since>,
}

impl<'a> SinceTold<'a> {
    pub(super) fn read(
        connection: &Connection,
        config: &Config,
        night: &'a Night,
        plans: &[MailPlan<'_>],
        now: DateTime<Utc>,
    ) -> Result<Self, TellError> {
        let mut read = Self {
            seasons: ByBlock::of(&night.seasons),
            since: BTreeMap::new(),
        };
        for plan in plans {
            for (season, _, told_on) in read.changes(plan).collect::<Vec<_>>() {
                let station = &season.block.station;
                if let Entry::Vacant(place) = read.since.entry((station.clone(), told_on)) {
                    place.insert(since(connection, config, station, told_on, now)?);
                }
            }
        }
        Ok(read)
    }

    /// The causes of a mail's changes.
    pub(super) fn causes(&self, config: &Config, night: &Night, plan: &MailPlan<'_>) -> Causes {
        let causes = self.changes(plan).filter_map(|(season, notice, told_on)| {
            let since = self.since.get(&(season.block.station.clone(), told_on))?;
            let why = config.words.why(&night.orchard, season, notice, since)?;
            Some((key(notice), why))
        });
        Causes(causes.collect())
    }

    /// What changed of what was told before, with the season it is of and when it was told.
    fn changes<'b>(
        &self,
        plan: &'b MailPlan<'_>,
    ) -> impl Iterator<Item = (&'a BlockSeason, &'b Notice, NaiveDate)> {
        let notices = plan.parts.iter().flat_map(|part| &part.notices);
        notices.filter_map(|notice| {
            let season = self.seasons.get(&notice.block, &notice.insect)?;
            Some((season, notice, notice.change.told_on()?))
        })
    }
}
