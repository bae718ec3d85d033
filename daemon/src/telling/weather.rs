//! The weather of the farm's stations as known on one civil day.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use duskflight_core::id::StationId;
use duskflight_core::weather::{
    ByHand, EstimatedDay, Neighbour, OwnRecord, ReceivedDay, StationWeather,
};
use duskflight_core::wording::StoodIn;
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::store::decisions::{self, Decided};
use crate::store::{StoreError, days, forecasts};

/// Reads and completes one station after another, so that one completed series is in memory at a
/// time. The records of stations that others fall back on are needed again and again, and kept.
pub struct Stations<'a> {
    connection: &'a Connection,
    config: &'a Config,
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
            config,
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
        let continued = self.with_past(station, own)?;
        let id = station.id.clone();
        let own = continued.as_ref().or(own);
        Ok(StationWeather::new(id, own, &fall_backs, self.as_of))
    }

    /// The record with the past years of the station that it borrows them from; `None` where it borrows none.
    fn with_past(
        &self,
        station: &Station,
        own: Option<&OwnRecord>,
    ) -> Result<Option<OwnRecord>, StoreError> {
        let lender = station.past_from.as_ref().and_then(|id| {
            let mut stations = self.config.stations.iter();
            stations.find(|station| station.id == *id)
        });
        let (Some(own), Some(lender)) = (own, lender) else {
            return Ok(None);
        };
        let Some(its_own) = self.own_record(lender)? else {
            return Ok(None);
        };
        let completed = self.weather(lender)?;
        Ok(completed.series().map(|series| {
            let neighbour = Neighbour {
                name: &lender.name,
                own: &its_own,
                series,
            };
            own.with_past_of(neighbour, self.as_of)
        }))
    }

    /// Which of a station's fall-backs had days that were estimated.
    pub fn stood_in(&self, station: &Station, estimated: &[EstimatedDay]) -> Vec<StoodIn> {
        let stood_in = station.fall_backs.iter().filter_map(|id| {
            let record = self.standing_in.get(id)?;
            let mut stations = self.config.stations.iter();
            let days = estimated.iter().map(|day| day.date);
            Some(StoodIn {
                name: stations.find(|other| other.id == *id)?.name.clone(),
                days: days.filter(|day| record.serves(*day)).collect(),
            })
        });
        stood_in.filter(|one| !one.days.is_empty()).collect()
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

    /// One station's own record, screened by itself; `None` where nothing was received.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub fn own_record(&self, station: &Station) -> Result<Option<OwnRecord>, StoreError> {
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
