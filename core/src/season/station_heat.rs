//! One station's heat for one insect, as known on one day.

use chrono::{Datelike, NaiveDate};

use crate::heat::{Accumulated, HeatModel, HeatSeries};
use crate::id::StationId;
use crate::weather::{ReceivedDay, Suspicion, complete};

/// Heat of a station, built once for all its blocks. It carries the day of telling, so that no
/// season can be assessed with a heat that knew more or less than the day allows.
#[derive(Debug, Clone, PartialEq)]
pub struct StationHeat {
    station: StationId,
    as_of: NaiveDate,
    heat: Option<HeatSeries>,
    suspects: Vec<(NaiveDate, Suspicion)>,
}

impl StationHeat {
    /// Screens, completes and adds up what was received before `as_of`.
    #[must_use]
    pub fn new(
        station: StationId,
        received: &[ReceivedDay],
        model: HeatModel,
        as_of: NaiveDate,
    ) -> Self {
        let series = complete(received, as_of);
        Self {
            station,
            as_of,
            heat: series.as_ref().map(|series| HeatSeries::new(series, model)),
            suspects: series.map_or_else(Vec::new, |series| series.suspects().to_vec()),
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

    /// This year's days that were received but not used.
    pub fn suspects(&self) -> impl Iterator<Item = &(NaiveDate, Suspicion)> {
        self.suspects
            .iter()
            .filter(|(date, _)| date.year() == self.as_of.year())
    }

    /// This year's days that were estimated, oldest first.
    #[must_use]
    pub fn estimated(&self) -> Vec<NaiveDate> {
        let Some(heat) = &self.heat else {
            return Vec::new();
        };
        let year = self.as_of.year();
        let positions = (0..heat.len()).rev();
        let mut days: Vec<NaiveDate> = positions
            .take_while(|position| heat.date(*position).year() == year)
            .filter(|position| heat.is_estimated(*position))
            .map(|position| heat.date(position))
            .collect();
        days.reverse();
        days
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
