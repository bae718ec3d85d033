//! Charts of the blocks that a mail has news of. A night keeps no station's heat, so it is built again for
//! the station of the one block whose heat is drawn.

use duskflight_core::contents::chart::Wanted;
use duskflight_core::contents::{Chart, catch_chart, heat_chart};
use duskflight_core::id::TrapId;
use duskflight_core::season::{BlockSeason, StationHeat};
use duskflight_core::trapping::Visits;
use rusqlite::Connection;

use super::{Night, Stations};
use crate::config::Config;
use crate::store::{StoreError, visits};

/// The charts of a mail: heat before catches, and none where there is nothing to draw.
///
/// # Errors
/// When the records cannot be read.
pub(super) fn charts(
    connection: &Connection,
    config: &Config,
    night: &Night,
    wanted: Wanted<'_>,
) -> Result<Vec<Chart>, StoreError> {
    let mut charts = Vec::new();
    if let Some(season) = wanted.heat {
        charts.extend(heat(connection, config, season)?);
    }
    if let Some(season) = wanted.catches {
        let traps = night.orchard.traps_of(&season.block.id);
        let traps: Vec<&TrapId> = traps.map(|trap| &trap.id).collect();
        let visits = Visits::new(visits::of_traps_up_to(connection, &traps, night.as_of)?);
        let chart = catch_chart(config.words, season, &night.orchard, &visits);
        charts.extend(chart.map(Chart::Catch));
    }
    Ok(charts)
}

fn heat(
    connection: &Connection,
    config: &Config,
    season: &BlockSeason,
) -> Result<Option<Chart>, StoreError> {
    let station = config.stations.iter();
    let station = station.clone().find(|s| s.id == season.block.station);
    let insect = config.insects.iter().find(|i| i.id == season.insect);
    let (Some(station), Some(insect)) = (station, insect) else {
        return Ok(None);
    };
    let stations = Stations::of(connection, config, station, season.as_of)?;
    let forecast = stations.forecast(station)?;
    let heat = StationHeat::with_forecast(&stations.weather(station)?, &forecast, insect.heat);
    Ok(heat_chart(config.words, season, &heat).map(Chart::Heat))
}
