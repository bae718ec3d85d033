//! All seasons of the farm as seen on one civil day.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use duskflight_core::id::StationId;
use duskflight_core::notice::StationView;
use duskflight_core::orchard::Orchard;
use duskflight_core::season::{BlockSeason, StationHeat, assess};
use duskflight_core::temperature::Unit;
use duskflight_core::trapping::Visits;
use duskflight_core::weather::{ByHand, OwnRecord, StationWeather};
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::store::decisions::{self, Decided};
use crate::store::{StoreError, days, notes, visits};

/// Suspect days are listed for so many days.
const SUSPECTS_LISTED_DAYS: u64 = 14;

/// Everything known and computed for one civil day.
#[derive(Debug, Clone)]
pub struct Night {
    /// The civil day of telling.
    pub as_of: NaiveDate,
    /// What is declared that day.
    pub orchard: Orchard,
    /// One season per block and insect, in the order of `blocks.csv`.
    pub seasons: Vec<BlockSeason>,
    /// One view per station, in the order of the configuration.
    pub stations: Vec<StationView>,
}

/// Recomputes everything from the records. One station's heat is in memory at a time.
///
/// # Errors
/// When the records cannot be read.
pub fn night(
    connection: &Connection,
    config: &Config,
    as_of: NaiveDate,
) -> Result<Night, StoreError> {
    let orchard = config.orchard_on(as_of);
    let visits = Visits::new(visits::up_to(connection, as_of)?);
    let notes = notes::up_to(connection, as_of)?;
    let mut placed: Vec<(usize, BlockSeason)> = Vec::new();
    let mut stations = Vec::new();
    let decided = decisions::before(connection, as_of)?;
    let standing_in = standing_in(connection, config, &decided, as_of)?;
    for station in &config.stations {
        let weather = weather(connection, station, &decided, &standing_in, as_of)?;
        stations.push(station_view(config, station, &weather));
        for insect in &config.insects {
            let heat = StationHeat::new(&weather, insect.heat);
            let blocks = orchard.blocks().iter().enumerate();
            let of_station = blocks.filter(|(_, block)| {
                block.station == station.id && insect.crops.contains(&block.crop)
            });
            placed.extend(of_station.map(|(place, block)| {
                let season = assess(&orchard, block, insect, &heat, &visits, &notes);
                let unit = config.unit.unwrap_or(season.unit);
                (place, BlockSeason { unit, ..season })
            }));
        }
    }
    placed.sort_by_key(|(place, _)| *place);
    Ok(Night {
        as_of,
        seasons: placed.into_iter().map(|(_, season)| season).collect(),
        orchard,
        stations,
    })
}

/// The records of all stations that others fall back on; they are needed again and again.
fn standing_in<'a>(
    connection: &Connection,
    config: &'a Config,
    decided: &[Decided],
    as_of: NaiveDate,
) -> Result<BTreeMap<&'a StationId, OwnRecord>, StoreError> {
    let mut records = BTreeMap::new();
    for station in &config.stations {
        let stands_in = |other: &Station| other.fall_backs.contains(&station.id);
        if config.stations.iter().any(stands_in)
            && let Some(record) = own_record(connection, station, decided, as_of)?
        {
            records.insert(&station.id, record);
        }
    }
    Ok(records)
}

fn own_record(
    connection: &Connection,
    station: &Station,
    decided: &[Decided],
    as_of: NaiveDate,
) -> Result<Option<OwnRecord>, StoreError> {
    let received = days::before(connection, &station.id, as_of)?;
    let of_station = decided.iter().filter(|d| d.station == station.id.as_str());
    let by_hand: Vec<ByHand> = of_station.filter_map(Decided::by_hand).collect();
    Ok(OwnRecord::new(&received, &by_hand, &station.facts, as_of))
}

fn weather(
    connection: &Connection,
    station: &Station,
    decided: &[Decided],
    standing_in: &BTreeMap<&StationId, OwnRecord>,
    as_of: NaiveDate,
) -> Result<StationWeather, StoreError> {
    let fall_backs = station.fall_backs.iter();
    let fall_backs: Vec<&OwnRecord> = fall_backs.filter_map(|id| standing_in.get(id)).collect();
    let read;
    let own = match standing_in.get(&station.id) {
        Some(own) => Some(own),
        None => {
            read = own_record(connection, station, decided, as_of)?;
            read.as_ref()
        }
    };
    let id = station.id.clone();
    Ok(StationWeather::new(id, own, &fall_backs, as_of))
}

fn station_view(config: &Config, station: &Station, weather: &StationWeather) -> StationView {
    let listed_from = weather
        .as_of()
        .checked_sub_days(Days::new(SUSPECTS_LISTED_DAYS));
    let suspects = weather.suspects().iter();
    StationView {
        station: station.id.clone(),
        name: station.name.clone(),
        unit: config.unit.unwrap_or(Unit::Fahrenheit),
        newest: weather.newest_read(),
        estimated: weather.estimated(),
        suspects: suspects
            .filter(|suspect| listed_from.is_none_or(|from| suspect.date >= from))
            .copied()
            .collect(),
    }
}
