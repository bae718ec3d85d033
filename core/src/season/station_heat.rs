//! One station's heat for one insect, as known on one day.

use chrono::NaiveDate;

use crate::heat::{Accumulated, HeatModel, HeatSeries};
use crate::id::StationId;
use crate::weather::StationWeather;

/// Heat of a station, built once for all its blocks. It carries the day of telling, so that no
/// season can be assessed with a heat that knew more or less than the day allows.
#[derive(Debug, Clone, PartialEq)]
pub struct StationHeat {
    station: StationId,
    as_of: NaiveDate,
    heat: Option<HeatSeries>,
}

impl StationHeat {
    /// Adds up a station's weather.
    #[must_use]
    pub fn new(weather: &StationWeather, model: HeatModel) -> Self {
        Self {
            station: weather.station().clone(),
            as_of: weather.as_of(),
            heat: weather
                .series()
                .map(|series| HeatSeries::new(series, model)),
        }
    }

    /// The station.
    #[must_use]
    pub const fn station(&self) -> &StationId {
        &self.station
    }

    /// The civil day of telling.
    #[must_use]
    pub const fn as_of(&self) -> NaiveDate {
        self.as_of
    }

    /// The newest day used.
    #[must_use]
    pub fn newest(&self) -> Option<NaiveDate> {
        self.heat.as_ref()?.newest()
    }

    /// The series; `None` when the station has no usable day yet.
    #[must_use]
    pub const fn heat(&self) -> Option<&HeatSeries> {
        self.heat.as_ref()
    }

    /// Degree-days from a start to the newest day, or why there are none.
    pub(super) fn since(&self, start: Option<NaiveDate>) -> Result<Accumulated, String> {
        let start = start.ok_or("no egg-laying start yet")?;
        let (heat, newest) = self.known()?;
        if newest < start {
            return Err(format!(
                "newest temperatures are of {newest}, before the start"
            ));
        }
        heat.sum(start, newest).map_err(|hole| self.hole(hole))
    }

    /// The series and its newest day, or why there is none.
    pub(super) fn known(&self) -> Result<(&HeatSeries, NaiveDate), String> {
        self.heat
            .as_ref()
            .and_then(|heat| Some((heat, heat.newest()?)))
            .ok_or_else(|| format!("no temperatures from station {} yet", self.station))
    }

    /// The words for a day without temperatures.
    pub(super) fn hole(&self, day: NaiveDate) -> String {
        format!("no temperatures from station {} for {day}", self.station)
    }
}
