//! One station's heat for one insect, as known on one day.

use chrono::{Datelike, NaiveDate};

use crate::heat::{Accumulated, HeatModel, HeatSeries};
use crate::id::StationId;
use crate::temperature::Extremes;
use crate::weather::{Borrowed, CompletedSeries, ReceivedDay, StationWeather, forecast_days};

use super::WhyNot;
use super::projection::Outlook;

/// Heat of a station, built once for all its blocks. It carries the day of telling, so that no
/// season can be assessed with a heat that knew more or less than the day allows.
#[derive(Debug, Clone, PartialEq)]
pub struct StationHeat {
    station: StationId,
    as_of: NaiveDate,
    modelled: bool,
    heat: Option<HeatSeries>,
    outlook: Option<Outlook>,
    borrowed: Option<Borrowed>,
}

impl StationHeat {
    /// Adds up a station's weather.
    #[must_use]
    pub fn new(weather: &StationWeather, model: HeatModel) -> Self {
        Self::with_forecast(weather, &[], model)
    }

    /// The same, and after the newest day known with days that are forecast: projections go through
    /// them before they go on with past years. They are never among the days known, so no mark is
    /// passed by one.
    #[must_use]
    pub fn with_forecast(
        weather: &StationWeather,
        forecast: &[ReceivedDay],
        model: HeatModel,
    ) -> Self {
        let as_of = weather.as_of();
        let heat = weather
            .series()
            .map(|series| HeatSeries::new(series, model));
        let outlook = heat.as_ref().zip(weather.series()).map(|(heat, series)| {
            let ahead = forecast_heat(heat, series, forecast, model);
            Outlook::new(heat, as_of.year(), &ahead)
        });
        Self {
            station: weather.station().clone(),
            as_of,
            modelled: weather.is_modelled(),
            heat,
            outlook,
            borrowed: weather.borrowed().cloned(),
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

    /// Whether its days are a model's.
    #[must_use]
    pub const fn is_modelled(&self) -> bool {
        self.modelled
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

    /// Whose past years stand before the station's own, where they are to.
    pub(super) const fn borrowed(&self) -> Option<&Borrowed> {
        self.borrowed.as_ref()
    }

    /// Degree-days from a day, which counts, to the newest one, or why there are none.
    pub(super) fn since(&self, from: NaiveDate) -> Result<Accumulated, WhyNot> {
        let (heat, newest) = self.known()?;
        if newest < from {
            return Err(WhyNot::NewestBefore { newest, from });
        }
        heat.sum(from, newest).map_err(|hole| self.hole(hole))
    }

    /// The series and its newest day, or why there is none.
    pub(super) fn known(&self) -> Result<(&HeatSeries, NaiveDate), WhyNot> {
        self.heat
            .as_ref()
            .and_then(|heat| Some((heat, heat.newest()?)))
            .ok_or_else(|| self.no_temperatures(None))
    }

    /// The series and what past years say of the rest of the year, or why there is none.
    pub(super) fn outlook(&self) -> Result<(&HeatSeries, &Outlook), WhyNot> {
        let (heat, _) = self.known()?;
        let outlook = self.outlook.as_ref();
        // Both are there or neither is: they are built together.
        outlook
            .map(|outlook| (heat, outlook))
            .ok_or_else(|| self.no_temperatures(None))
    }

    /// That a day has no temperatures.
    pub(super) fn hole(&self, day: NaiveDate) -> WhyNot {
        self.no_temperatures(Some(day))
    }

    fn no_temperatures(&self, day: Option<NaiveDate>) -> WhyNot {
        WhyNot::NoTemperatures {
            station: self.station.clone(),
            day,
        }
    }
}

/// Daily heat of the days after the newest one of `heat`, as far as the forecast goes without a gap.
fn forecast_heat(
    heat: &HeatSeries,
    series: &CompletedSeries,
    forecast: &[ReceivedDay],
    model: HeatModel,
) -> Vec<f64> {
    // With a double method the newest day known still waits for the minimum of the next one.
    let waiting = series.days()[heat.len()..].iter().flatten();
    let waiting = waiting.map(|day| day.extremes);
    let days: Vec<Extremes> = waiting.chain(forecast_days(series, forecast)).collect();
    let next_min = |at: usize| days.get(at + 1).map(|next| next.min());
    days.iter()
        .enumerate()
        .map_while(|(at, day)| Some(model.daily(*day, next_min(at))?.fahrenheit_days()))
        .collect()
}
