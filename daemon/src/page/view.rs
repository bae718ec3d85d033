//! What pages read: the farm as it was recomputed last, and one block of it on any day of the past.

use std::collections::BTreeSet;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::contents::undecided_blocks;
use duskflight_core::id::{BlockId, PersonId, StationId};
use duskflight_core::ledger::MailKind;
use duskflight_core::orchard::{Block, Orchard, Regime};
use duskflight_core::season::BlockSeason;
use rusqlite::Connection;
use tokio::sync::{Mutex, watch};

use super::page_error::PageError;
use super::reader::Reader;
use crate::config::{Config, Station};
use crate::store::{StoreError, visits};
use crate::telling::{Night, Purpose, night, prepare};

/// The farm on one day.
#[derive(Debug)]
pub(super) struct FarmView {
    /// The configuration it was made with.
    pub(super) config: Arc<Config>,
    /// All seasons and stations, without the records that they were made from.
    pub(super) night: Night,
    /// Blocks whose adviser is asked to decide the start.
    pub(super) undecided: BTreeSet<BlockId>,
    /// The years of which there are readings, oldest first.
    pub(super) years: Vec<i32>,
    /// When it was made.
    pub(super) made: DateTime<Utc>,
    /// The mails of the next morning, once somebody has asked for them.
    upcoming: Mutex<Option<(NaiveDate, Arc<Vec<Upcoming>>)>>,
    reader: Reader,
}

/// A mail of the next morning, if nothing more came in.
#[derive(Debug)]
pub(super) struct Upcoming {
    pub(super) person: PersonId,
    /// Whose blocks it is about.
    pub(super) adviser: Option<PersonId>,
    pub(super) kind: MailKind,
    pub(super) subject: String,
    pub(super) text: String,
}

/// The newest view; `None` until there is one.
pub(super) type Published = watch::Receiver<Option<Arc<FarmView>>>;

impl FarmView {
    /// Recomputes the farm on a day from its records.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub(super) async fn make(
        config: &Arc<Config>,
        reader: &Reader,
        as_of: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<Self, StoreError> {
        let ((night, undecided), years) = reader
            .work_out(config, move |c, config| {
                let worked_out = worked_out(c, config, as_of)?;
                Ok::<_, StoreError>((worked_out, visits::years(c)?))
            })
            .await?;
        Ok(Self {
            config: Arc::clone(config),
            night,
            undecided,
            years,
            made: now,
            upcoming: Mutex::default(),
            reader: reader.clone(),
        })
    }

    /// The civil day it is of.
    pub(super) const fn day(&self) -> NaiveDate {
        self.night.as_of
    }

    /// The seasons of a block, one for each insect.
    pub(super) fn seasons_of(&self, block: &BlockId) -> impl Iterator<Item = &BlockSeason> {
        let seasons = self.night.seasons.iter();
        seasons.filter(move |season| season.block.id == *block)
    }

    /// A station as declared.
    pub(super) fn station(&self, id: &StationId) -> Option<&Station> {
        let mut stations = self.config.stations.iter();
        stations.find(|station| station.id == *id)
    }

    /// Looks something up in the records.
    ///
    /// # Errors
    /// What `look` meets.
    pub(super) async fn read<T: Send + 'static>(
        &self,
        look: impl FnOnce(&Connection) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, PageError> {
        Ok(self.reader.read(look).await?)
    }

    /// Works something out that takes longer, on a connection and thread of its own, a few at a time.
    ///
    /// # Errors
    /// What `work` meets, or when the records cannot be opened.
    pub(super) async fn work_out<T, E>(
        &self,
        work: impl FnOnce(&Connection, &Config) -> Result<T, E> + Send + 'static,
    ) -> Result<T, PageError>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
        PageError: From<E>,
    {
        Ok(self.reader.work_out(&self.config, work).await?)
    }

    /// The mails of a morning to come, if nothing more came in. They take a whole night to work out, so it is done once,
    /// when somebody first asks.
    ///
    /// # Errors
    /// When the records cannot be read, or a mail cannot be composed.
    pub(super) async fn upcoming(&self, day: NaiveDate) -> Result<Arc<Vec<Upcoming>>, PageError> {
        let mut upcoming = self.upcoming.lock().await;
        if let Some((of, mails)) = upcoming.as_ref()
            && *of == day
        {
            return Ok(Arc::clone(mails));
        }
        let mails = self.work_out(move |c, config| self::upcoming(c, config, day));
        let mails = Arc::new(mails.await?);
        *upcoming = Some((day, Arc::clone(&mails)));
        Ok(mails)
    }

    /// Some blocks on another day, by what is recorded now.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub(super) async fn on(
        &self,
        blocks: BTreeSet<BlockId>,
        as_of: NaiveDate,
    ) -> Result<Self, PageError> {
        let (night, undecided) = self
            .work_out(move |c, config| {
                let orchard = config.orchard_on(as_of);
                let about = config.about(&with_beside(&orchard, &blocks));
                worked_out(c, &about, as_of)
            })
            .await?;
        Ok(Self {
            config: Arc::clone(&self.config),
            night,
            undecided,
            years: self.years.clone(),
            made: self.made,
            upcoming: Mutex::default(),
            reader: self.reader.clone(),
        })
    }
}

/// All that stands in a view, with the blocks whose start is to be decided. It runs on a thread that only reads.
fn worked_out(
    connection: &Connection,
    config: &Config,
    as_of: NaiveDate,
) -> Result<(Night, BTreeSet<BlockId>), StoreError> {
    let night = night(connection, config, as_of)?.without_records();
    let undecided = undecided_blocks(&night.seasons);
    Ok((night, undecided))
}

fn upcoming(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
) -> Result<Vec<Upcoming>, PageError> {
    let night = night(connection, config, day)?;
    let at = config.digest_instant(day);
    let tellings = prepare(connection, config, &night, Purpose::Preview, at)?;
    let drafts = tellings.into_iter().filter_map(|telling| telling.draft);
    drafts
        .map(|draft| {
            let composed = draft.contents.compose(&draft.mail.message_id)?;
            Ok(Upcoming {
                person: draft.mail.person,
                adviser: draft.mail.adviser,
                kind: draft.mail.kind,
                subject: draft.mail.subject,
                text: composed.parts.text,
            })
        })
        .collect()
}

/// Blocks with those that their seasons are set beside, which only those under disruption are, and those with a start of
/// theirs: each of a hundred neighbours would have its start estimated, too.
pub(super) fn with_beside(orchard: &Orchard, blocks: &BTreeSet<BlockId>) -> BTreeSet<BlockId> {
    let is_disrupted = |block: &Block| block.regime == Regime::MatingDisruption;
    let own = blocks.iter().filter_map(|id| orchard.block(id));
    let disrupted = own.filter(|block| {
        let owner = orchard.block_of_group(&block.start_group);
        is_disrupted(block) || owner.is_some_and(is_disrupted)
    });
    let beside = disrupted.flat_map(|block| orchard.conventional_beside(block));
    blocks
        .iter()
        .cloned()
        .chain(beside.map(|block| block.id.clone()))
        .collect()
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::store::Store;

    #[test]
    fn a_block_alone_has_the_season_that_it_has_among_all() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/full");
        let config = Config::read(&folder).unwrap();
        let day = NaiveDate::from_ymd_opt(2022, 6, 20).unwrap();
        let records = Store::in_memory().unwrap();
        let runtime = tokio::runtime::Builder::new_current_thread()
            .build()
            .unwrap();
        let compared = records.read(move |c| {
            let all = night(c, &config, day)?.seasons;
            for season in &all {
                let own = BTreeSet::from([season.block.id.clone()]);
                let about = config.about(&with_beside(&config.orchard_on(day), &own));
                let (alone, _) = worked_out(c, &about, day)?;
                assert!(alone.seasons.contains(season), "{}", season.block.id);
            }
            let is_disrupted = |season: &&BlockSeason| season.beside.disruption.is_some();
            Ok::<_, StoreError>(all.iter().filter(is_disrupted).count())
        });
        assert!(runtime.block_on(compared).unwrap() > 0);
    }
}
