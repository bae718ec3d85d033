//! The weather of the farm's stations as known on one civil day.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use duskflight_core::id::StationId;
use duskflight_core::weather::{ByHand, OwnRecord, ReceivedDay, StationWeather};
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::store::decisions::{self, Decided};
use crate::store::{StoreError, days, forecasts};

/// Reads and completes one station after another, so that one completed series is in memory at a
/// time. The records of stations that others fall back on are needed again and again, and kept.
pub struct Stations<'a> {
    connection: &'a Connection,
    as_of: NaiveDate,
    decided: Vec<Decided>,
    standing_in: BTreeMap<&'a StationId, OwnRecord>,
}

impl<'a> Stations<'a> {
    /// Reads what is shared by all stations.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub fn read(
        connection: &'a Connection,
        config: &'a Config,
        as_of: NaiveDate,
    ) -> Result<Self, StoreError> {
        let mut stations = Self {
            connection,
            as_of,
            decided: decisions::before(connection, as_of)?,
            standing_in: BTreeMap::new(),
        };
        let stands_in = |id: &StationId| {
            let mut stations = config.stations.iter();
            stations.any(|station| station.fall_backs.contains(id))
        };
        for station in &config.stations {
            if stands_in(&station.id)
                && let Some(record) = stations.own_record(station)?
            {
                stations.standing_in.insert(&station.id, record);
            }
        }
        Ok(stations)
    }

    /// One station's weather: screened, and completed from its fall-backs.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub fn weather(&self, station: &Station) -> Result<StationWeather, StoreError> {
        let fall_backs = station.fall_backs.iter();
        let fall_backs: Vec<&OwnRecord> = fall_backs
            .filter_map(|id| self.standing_in.get(id))
            .collect();
        let read;
        let own = match self.standing_in.get(&station.id) {
            Some(own) => Some(own),
            None => {
                read = self.own_record(station)?;
                read.as_ref()
            }
        };
        let id = station.id.clone();
        Ok(StationWeather::new(id, own, &fall_backs, self.as_of))
    }

    /// A station's forecast for that morning, if there is one.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub fn forecast(&self, station: &Station) -> Result<Vec<ReceivedDay>, StoreError> {
        match &station.forecast {
            Some(_) => forecasts::for_morning(self.connection, &station.id, self.as_of),
            None => Ok(Vec::new()),
        }
    }

    fn own_record(&self, station: &Station) -> Result<Option<OwnRecord>, StoreError> {
        let received = days::before(self.connection, &station.id, self.as_of)?;
        let decided = self.decided.iter();
        let of_station = decided.filter(|decided| decided.station == station.id.as_str());
        let by_hand: Vec<ByHand> = of_station.filter_map(Decided::by_hand).collect();
        Ok(OwnRecord::new(
            &received,
            &by_hand,
            &station.facts,
            self.as_of,
        ))
    }
}
