//! A year's seasons, computed once, and each grower's part of them.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate};
use duskflight_core::contents::{
    BlockOfSeason, Chart, PublicReport, SeasonReport, SeasonSource, Signature, SiteOfFarm,
    catch_chart, heat_chart, public_report, season_report,
};
use duskflight_core::id::{PersonId, StationId};
use duskflight_core::insect::Insect;
use duskflight_core::season::{BlockSeason, served};
use duskflight_core::trapping::days_of_season;
use rusqlite::Connection;

use super::{ReportError, html};
use crate::config::{Config, MonthDay, Station};
use crate::store::outbox_report::sent_to;
use crate::telling::{KeptYears, Night, kept_years, night};

/// All seasons of a year.
#[derive(Debug)]
pub struct Season {
    night: Night,
    kept: KeptYears,
}

/// The growers of blocks in force on a day, those of one adviser where one is named, in the order of `blocks.csv`.
#[must_use]
pub fn growers(config: &Config, day: NaiveDate, adviser: Option<&PersonId>) -> Vec<PersonId> {
    let orchard = config.orchard_on(day);
    let blocks = orchard.blocks().iter();
    let advised = blocks.filter(|block| adviser.is_none_or(|id| block.is_advised_by(id)));
    let mut seen = BTreeSet::new();
    let growers = advised.map(|block| &block.grower);
    growers
        .filter(|grower| seen.insert((*grower).clone()))
        .cloned()
        .collect()
}

impl Season {
    /// Reads a year as of its last day or an earlier one.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub fn read(
        connection: &Connection,
        config: &Config,
        year: i32,
        as_of: NaiveDate,
    ) -> Result<Self, ReportError> {
        let last = NaiveDate::from_ymd_opt(year, 12, 31).unwrap_or(as_of);
        Ok(Self {
            night: night(connection, config, as_of.min(last))?,
            kept: kept_years(connection, config)?,
        })
    }

    /// The day it is told of.
    #[must_use]
    pub const fn as_of(&self) -> NaiveDate {
        self.night.as_of
    }

    /// The page of one grower; `None` without a block of theirs.
    ///
    /// # Errors
    /// [`ReportError`].
    pub fn of(
        &self,
        connection: &Connection,
        config: &Config,
        grower: &PersonId,
    ) -> Result<Option<String>, ReportError> {
        let report = self.contents(connection, config, grower)?;
        report.as_ref().map(html::season).transpose()
    }

    /// What anybody may see of blocks that have a public name.
    pub(super) fn public(&self, config: &Config) -> PublicReport {
        let (visits, _) = self.night.records();
        let sites = config.public_blocks(self.as_of()).into_iter();
        let sites = sites.flat_map(|(block, name)| {
            let seasons = self.night.seasons.iter();
            let seasons = seasons.filter(move |season| season.block.id == *block);
            seasons.map(move |season| SiteOfFarm {
                name: name.to_owned(),
                season,
                starts: self.night.starts_of_years(config, season, &self.kept),
            })
        });
        let sites: Vec<SiteOfFarm<'_>> = sites.collect();
        public_report(&self.night.orchard, visits, &sites, self.as_of())
    }

    fn contents(
        &self,
        connection: &Connection,
        config: &Config,
        grower: &PersonId,
    ) -> Result<Option<SeasonReport>, ReportError> {
        let seasons = self.night.seasons.iter();
        let own: Vec<&BlockSeason> = seasons
            .filter(|season| season.block.grower == *grower)
            .collect();
        let first = NaiveDate::from_ymd_opt(self.as_of().year(), 1, 1).unwrap_or(self.as_of());
        let source = SeasonSource {
            farm: config.farm.clone(),
            note: config.note.clone(),
            authority: &config.authority,
            grower: name_of(config, grower),
            advisers: advisers(config, &own),
            insects: insects(config, &own),
            stations: stations(config, &own),
            mails: sent_to(connection, grower, [first, self.as_of()])?,
            blocks: own
                .into_iter()
                .map(|season| self.block(config, season))
                .collect(),
        };
        Ok(season_report(config.words, &source))
    }

    fn block<'a>(&'a self, config: &Config, season: &'a BlockSeason) -> BlockOfSeason<'a> {
        let (visits, notes) = self.night.records();
        let orchard = &self.night.orchard;
        let of_season = [config.season_from, config.season_to];
        let of_season = of_season.map(|MonthDay { month, day }| (month, day));
        let within = days_of_season(season.year, of_season, season.as_of);
        let heat = self.night.heat_of(season);
        let heat = heat.and_then(|heat| heat_chart(config.words, season, heat));
        let catches = catch_chart(config.words, season, orchard, visits);
        let catches = catches.map(|chart| Chart::Catch(chart.to_last_reading()));
        BlockOfSeason {
            season,
            notes: notes.of(season.block.id.as_str()),
            service: served(orchard, season, visits, notes, within),
            starts: self.night.starts_of_years(config, season, &self.kept),
            charts: heat.map(Chart::Heat).into_iter().chain(catches).collect(),
        }
    }
}

fn name_of(config: &Config, person: &PersonId) -> String {
    let declared = config.person(person);
    declared.map_or_else(|| person.to_string(), |person| person.name.clone())
}

/// The advisers who sign for some blocks, each once.
fn advisers(config: &Config, seasons: &[&BlockSeason]) -> Vec<Signature> {
    let mut seen = BTreeSet::new();
    let ids = seasons.iter().map(|season| &season.block.adviser);
    let ids = ids.filter(|id| seen.insert((*id).clone()));
    let signature = |id: &PersonId| {
        let declared = config.person(id);
        Signature {
            name: name_of(config, id),
            licence: declared.and_then(|person| person.licence.clone()),
            phone: declared.and_then(|person| person.phone.clone()),
        }
    };
    ids.map(signature).collect()
}

fn insects<'a>(config: &'a Config, seasons: &[&BlockSeason]) -> Vec<&'a Insect> {
    let used: BTreeSet<_> = seasons.iter().map(|season| &season.insect).collect();
    let insects = config.insects.iter();
    insects.filter(|insect| used.contains(&insect.id)).collect()
}

/// Stations in words, each with its feed.
fn stations(config: &Config, seasons: &[&BlockSeason]) -> Vec<String> {
    let used: BTreeSet<&StationId> = seasons.iter().map(|season| &season.block.station).collect();
    let stations = config.stations.iter();
    let used = stations.filter(|station| used.contains(&station.id));
    used.map(station).collect()
}

fn station(station: &Station) -> String {
    format!(
        "station {}: {}, from the feed {}",
        station.id,
        station.name,
        station.source.name()
    )
}
