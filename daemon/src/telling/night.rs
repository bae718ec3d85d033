//! All seasons of the farm as seen on one civil day.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, NaiveDate};
use duskflight_core::id::{InsectId, StationId, TrapId};
use duskflight_core::insect::Insect;
use duskflight_core::orchard::Orchard;
use duskflight_core::season::{
    BlockSeason, GroupStarts, KeptStarts, LayingOfYear, StartOfYear, StationHeat, assess,
    starts_of_years,
};
use duskflight_core::temperature::Unit;
use duskflight_core::trapping::{Notes, Visit, Visits};
use duskflight_core::weather::StationWeather;
use duskflight_core::wording::StationView;
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::feed::ForecastSource;
use crate::store::{StoreError, kept_starts, notes, visits};

use super::weather::Stations;

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
    /// The heat that the seasons were assessed with, for their charts.
    heat: Heats,
    visits: Visits,
    notes: Notes,
    /// By insect, what estimates of starts came to that stand still from now on.
    to_keep: Vec<(InsectId, KeptStarts)>,
}

/// What was kept of starts, by insect and year.
pub type KeptYears = BTreeMap<InsectId, BTreeMap<i32, KeptStarts>>;

/// Reads what was kept of starts, for [`Night::laying_years`].
///
/// # Errors
/// When the records cannot be read.
pub fn kept_years(connection: &Connection, config: &Config) -> Result<KeptYears, StoreError> {
    let of = |insect: &Insect| {
        let kept = kept_starts::of_all_seasons(connection, &insect.id)?;
        Ok((insect.id.clone(), kept))
    };
    config.insects.iter().map(of).collect()
}

/// Heat by station and insect.
type Heats = BTreeMap<(StationId, InsectId), StationHeat>;

impl Night {
    /// Keeps what needs not be worked out again.
    pub(super) fn keep(&self, connection: &Connection) -> Result<(), StoreError> {
        let season = self.as_of.year();
        let mut kept = self.to_keep.iter();
        kept.try_for_each(|(insect, starts)| kept_starts::keep(connection, insect, season, starts))
    }

    /// How far off a season's computed egg laying was in each year, by the block's own egg traps. It is no
    /// part of a night, since only whoever asks for a season looks at it.
    #[must_use]
    pub fn laying_years(
        &self,
        config: &Config,
        season: &BlockSeason,
        kept: &KeptYears,
    ) -> Vec<LayingOfYear> {
        let years = self.starts_of_years(config, season, kept).into_iter();
        years.filter_map(|of| of.laying).collect()
    }

    /// A block's starts by year, as `laying_years`.
    #[must_use]
    pub fn starts_of_years(
        &self,
        config: &Config,
        season: &BlockSeason,
        kept: &KeptYears,
    ) -> Vec<StartOfYear> {
        let mut insects = config.insects.iter();
        let insect = insects.find(|insect| insect.id == season.insect);
        let records = (&self.visits, &self.notes);
        let years = insect
            .zip(self.heat_of(season))
            .zip(kept.get(&season.insect))
            .map(|((insect, heat), kept)| {
                starts_of_years(&self.orchard, season, insect, heat, records, kept)
            });
        years.unwrap_or_default()
    }

    /// The same without the records that it was made from, which are most of it: who looks at one block reads them again.
    #[must_use]
    pub fn without_records(self) -> Self {
        Self {
            visits: Visits::default(),
            notes: Notes::default(),
            to_keep: Vec::new(),
            ..self
        }
    }

    /// The visits and notes that it was made from.
    #[must_use]
    pub const fn records(&self) -> (&Visits, &Notes) {
        (&self.visits, &self.notes)
    }

    /// The heat that a season was assessed with.
    #[must_use]
    pub fn heat_of(&self, season: &BlockSeason) -> Option<&StationHeat> {
        let station = season.block.station.clone();
        self.heat.get(&(station, season.insect.clone()))
    }
}

/// Recomputes everything from the records. One station's weather is in memory at a time; its heat, some
/// 300 kB with 30 past years, stays with the night.
///
/// # Errors
/// When the records cannot be read.
pub fn night(
    connection: &Connection,
    config: &Config,
    as_of: NaiveDate,
) -> Result<Night, StoreError> {
    let orchard = config.orchard_on(as_of);
    let visits = Visits::new(visits_of(connection, &orchard, as_of)?);
    let notes = Notes::new(notes::up_to(connection, as_of)?);
    let (stations, heat) = read_stations(connection, config, as_of)?;
    let mut placed: Vec<(usize, BlockSeason)> = Vec::new();
    let mut to_keep = Vec::new();
    for insect in &config.insects {
        let heat_of = |station: &StationId| heat.get(&(station.clone(), insect.id.clone()));
        let kept = kept_starts::read(connection, &insect.id, as_of.year())?;
        let records = (&visits, &notes, &kept);
        let starts = GroupStarts::read(&orchard, insect, heat_of, records, as_of);
        let blocks = orchard.blocks().iter().enumerate();
        let of_crop = blocks.filter(|(_, block)| insect.crops.contains(&block.crop));
        placed.extend(of_crop.filter_map(|(place, block)| {
            let heat = heat_of(&block.station)?;
            let season = assess(&orchard, block, insect, heat, &starts, &visits, &notes);
            let unit = config.unit.unwrap_or(season.unit);
            Some((place, BlockSeason { unit, ..season }))
        }));
        to_keep.push((insect.id.clone(), starts.to_keep().clone()));
    }
    placed.sort_by_key(|(place, _)| *place);
    Ok(Night {
        as_of,
        seasons: placed.into_iter().map(|(_, season)| season).collect(),
        orchard,
        stations,
        heat,
        visits,
        notes,
        to_keep,
    })
}

/// The visits of the traps of all blocks, and of those that their starts rest on: who asks for one block does not read
/// those of ten thousand.
fn visits_of(
    connection: &Connection,
    orchard: &Orchard,
    as_of: NaiveDate,
) -> Result<Vec<Visit>, StoreError> {
    let blocks = orchard.blocks().iter();
    let traps = blocks.flat_map(|block| {
        let own = orchard.traps_of(&block.id);
        own.chain(orchard.egg_traps(&block.start_group))
    });
    let mut traps: Vec<&TrapId> = traps.map(|trap| &trap.id).collect();
    traps.sort();
    traps.dedup();
    visits::of_traps_up_to(connection, &traps, as_of)
}

/// One view per station, and the heat of each for every insect.
fn read_stations(
    connection: &Connection,
    config: &Config,
    as_of: NaiveDate,
) -> Result<(Vec<StationView>, Heats), StoreError> {
    let mut views = Vec::new();
    let mut heats = Heats::new();
    let all = Stations::read(connection, config, as_of)?;
    for station in &config.stations {
        let weather = all.weather(station)?;
        let forecast = all.forecast(station)?;
        let source = station.forecast.as_ref().filter(|_| !forecast.is_empty());
        views.push(StationView {
            forecast: source.map(ForecastSource::name),
            stood_in: all.stood_in(station, &weather.estimated()),
            ..station_view(config, station, &weather)
        });
        for insect in &config.insects {
            let heat = StationHeat::with_forecast(&weather, &forecast, insect.heat);
            heats.insert((station.id.clone(), insect.id.clone()), heat);
        }
    }
    Ok((views, heats))
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
        stood_in: Vec::new(),
        forecast: None,
        borrowed: weather.borrowed().cloned(),
        drifts: weather.drifts().to_vec(),
        suspects: suspects
            .filter(|suspect| listed_from.is_none_or(|from| suspect.date >= from))
            .copied()
            .collect(),
    }
}
