//! Charts of those blocks that a mail draws. A night keeps no station's heat, so it is built again for
//! the few stations of these blocks.

use duskflight_core::notice::{Chart, catch_chart, heat_chart};
use duskflight_core::season::{BlockSeason, StationHeat};
use duskflight_core::trapping::Visits;
use rusqlite::Connection;

use crate::config::Config;
use crate::store::{StoreError, visits};

use super::{Night, Stations};

/// The charts of some of a night's seasons, in the order of these: heat before catches, and none where
/// there is nothing to draw.
///
/// # Errors
/// When the records cannot be read.
pub fn charts(
    connection: &Connection,
    config: &Config,
    night: &Night,
    wanted: &[&BlockSeason],
) -> Result<Vec<Vec<Chart>>, StoreError> {
    let words = config.words;
    let mut charts = vec![Vec::new(); wanted.len()];
    if wanted.is_empty() {
        return Ok(charts);
    }
    let stations = Stations::read(connection, config, night.as_of)?;
    for station in &config.stations {
        let of_station = |season: &&BlockSeason| season.block.station == station.id;
        if !wanted.iter().any(of_station) {
            continue;
        }
        let weather = stations.weather(station)?;
        let forecast = stations.forecast(station)?;
        for insect in &config.insects {
            let heat = StationHeat::with_forecast(&weather, &forecast, insect.heat);
            for (season, charts) in wanted.iter().zip(&mut charts) {
                if of_station(season) && season.insect == insect.id {
                    charts.extend(heat_chart(words, season, &heat).map(Chart::Heat));
                }
            }
        }
    }
    let visits = Visits::new(visits::up_to(connection, night.as_of)?);
    for (season, charts) in wanted.iter().zip(&mut charts) {
        let caught = catch_chart(words, season, &night.orchard, &visits);
        charts.extend(caught.map(Chart::Catch));
    }
    Ok(charts)
}
