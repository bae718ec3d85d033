//! Charts of the blocks that mails have news of, each made once a night.

use std::collections::BTreeMap;

use duskflight_core::contents::chart::Wanted;
use duskflight_core::contents::{Chart, catch_chart, glance_chart, heat_chart};
use duskflight_core::id::{BlockId, InsectId, TrapId};
use duskflight_core::ledger::MailKind;
use duskflight_core::ledger::plan::{MailPlan, Part};
use duskflight_core::season::BlockSeason;
use duskflight_core::trapping::Visits;
use rusqlite::Connection;

use super::Night;
use crate::config::Config;
use crate::store::{StoreError, visits};

/// Charts by what they draw.
type ByBlock<'a> = BTreeMap<(&'a BlockId, &'a InsectId), Option<Chart>>;

/// The charts of a night's mails.
pub(super) struct Charts<'a> {
    heat: ByBlock<'a>,
    catches: ByBlock<'a>,
}

impl<'a> Charts<'a> {
    /// Makes those that the mails of a plan show: a summary shows none.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub(super) fn of_mails(
        connection: &Connection,
        config: &Config,
        night: &'a Night,
        plans: &[MailPlan<'a>],
    ) -> Result<Self, StoreError> {
        let shown = plans
            .iter()
            .filter(|plan| matches!(plan.kind, Some(MailKind::Digest | MailKind::Alert)));
        let wanted = shown.flat_map(|plan| &plan.parts).map(wanted);
        let wanted: Vec<Wanted<'a>> = wanted.collect();
        let heat = wanted.iter().filter_map(|wanted| wanted.heat);
        let catches = wanted.iter().filter_map(|wanted| wanted.catches);
        Ok(Self {
            heat: heat_of(config, night, heat),
            catches: catches_of(connection, config, night, catches)?,
        })
    }

    /// The season at a glance of some blocks; to growers without what the next check may take back.
    pub(super) fn glance(
        config: &Config,
        seasons: &[&BlockSeason],
        only_firm: bool,
    ) -> Option<Chart> {
        let day = seasons.first()?.as_of;
        glance_chart(config.words, seasons, day, only_firm).map(Chart::Glance)
    }

    /// The charts of a part: heat before catches, and none where there is nothing to draw.
    pub(super) fn of(&self, part: &Part<'_>) -> Vec<Chart> {
        let Wanted { heat, catches } = wanted(part);
        let drawn = |charts: &ByBlock<'_>, season: Option<&BlockSeason>| {
            season.and_then(|season| charts.get(&key(season))?.clone())
        };
        let charts = [drawn(&self.heat, heat), drawn(&self.catches, catches)];
        charts.into_iter().flatten().collect()
    }
}

fn wanted<'a>(part: &Part<'a>) -> Wanted<'a> {
    Wanted::by(&part.seasons, &part.notices)
}

fn key(season: &BlockSeason) -> (&BlockId, &InsectId) {
    (&season.block.id, &season.insect)
}

fn heat_of<'a>(
    config: &Config,
    night: &Night,
    wanted: impl Iterator<Item = &'a BlockSeason>,
) -> ByBlock<'a> {
    let mut charts = BTreeMap::new();
    for season in wanted {
        let drawn = |heat| heat_chart(config.words, season, heat).map(Chart::Heat);
        let chart = || night.heat_of(season).and_then(drawn);
        charts.entry(key(season)).or_insert_with(chart);
    }
    charts
}

fn catches_of<'a>(
    connection: &Connection,
    config: &Config,
    night: &Night,
    wanted: impl Iterator<Item = &'a BlockSeason>,
) -> Result<ByBlock<'a>, StoreError> {
    let mut charts = BTreeMap::new();
    for season in wanted {
        if charts.contains_key(&key(season)) {
            continue;
        }
        let traps = night.orchard.traps_of(&season.block.id);
        let traps: Vec<&TrapId> = traps.map(|trap| &trap.id).collect();
        let visits = Visits::new(visits::of_traps_up_to(connection, &traps, night.as_of)?);
        let chart = catch_chart(config.words, season, &night.orchard, &visits);
        charts.insert(key(season), chart.map(Chart::Catch));
    }
    Ok(charts)
}
