//! One station's heat for one insect, as known on one day.

use chrono::{Datelike, NaiveDate};

use crate::heat::{Accumulated, HeatModel, HeatSeries};
use crate::id::StationId;
use crate::weather::{ReceivedDay, Suspicion, complete};

use super::projection::Outlook;

/// Heat of a station, built once for all its blocks. It carries the day of telling, so that no
/// season can be assessed with a heat that knew more or less than the day allows.
#[derive(Debug, Clone, PartialEq)]
pub struct StationHeat {
    station: StationId,
    as_of: NaiveDate,
    heat: Option<HeatSeries>,
    outlook: Option<Outlook>,
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
        Self::with_forecast(station, received, &[], model, as_of)
    }

    /// The same, and past `as_of` with days that are forecast: projections go through them before
    /// they go on with past years. They are never among the days known, so no mark is passed by one.
    #[must_use]
    pub fn with_forecast(
        station: StationId,
        received: &[ReceivedDay],
        forecast: &[ReceivedDay],
        model: HeatModel,
        as_of: NaiveDate,
    ) -> Self {
        let series = complete(received, as_of);
        let heat = series.as_ref().map(|series| HeatSeries::new(series, model));
        let outlook = heat.as_ref().map(|heat| {
            let ahead = forecast_heat(heat, received, forecast, model, as_of);
            Outlook::new(heat, as_of.year(), &ahead)
        });
        Self {
            station,
            as_of,
            heat,
            outlook,
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

    /// The series and what past years say of the rest of the year, or why there is none.
    pub(super) fn outlook(&self) -> Result<(&HeatSeries, &Outlook), String> {
        let (heat, _) = self.known()?;
        let outlook = self.outlook.as_ref();
        // Both are there or neither is: they are built together.
        outlook
            .map(|outlook| (heat, outlook))
            .ok_or_else(|| format!("no temperatures from station {} yet", self.station))
    }

    /// The words for a day without temperatures.
    pub(super) fn hole(&self, day: NaiveDate) -> String {
        format!("no temperatures from station {} for {day}", self.station)
    }
}

/// Daily heat of the days after the newest known one, as far as the forecast goes without a gap.
fn forecast_heat(
    heat: &HeatSeries,
    received: &[ReceivedDay],
    forecast: &[ReceivedDay],
    model: HeatModel,
    as_of: NaiveDate,
) -> Vec<f64> {
    let coming = || forecast.iter().filter(|day| day.date >= as_of);
    let Some(last) = coming().map(|day| day.date).max() else {
        return Vec::new();
    };
    let known = received.iter().filter(|day| day.date < as_of);
    let days: Vec<ReceivedDay> = known.chain(coming()).cloned().collect();
    let Some(series) = complete(&days, last.succ_opt().unwrap_or(last)) else {
        return Vec::new();
    };
    let both = HeatSeries::new(&series, model);
    (heat.len()..both.len())
        .map_while(|position| both.daily(position))
        .collect()
}
