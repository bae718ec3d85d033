//! Forecast days, brought to the station's own level.

use crate::statistics::mean;
use crate::temperature::{Extremes, Temperature, Unit};

use super::{CompletedSeries, Element, ReceivedDay};

/// A forecast is brought to the station's level only where so many days of both are known. Common
/// practice, no source.
const ENOUGH_DAYS: usize = 7;

/// The days after the newest one of a series, as far as a forecast goes without a gap. A model's
/// place is not the station's: what it was off on the days that both have, on the mean, is taken
/// from each element.
pub(crate) fn forecast_days(series: &CompletedSeries, forecast: &[ReceivedDay]) -> Vec<Extremes> {
    let off = Element::ALL.map(|element| mean_difference(series, forecast, element));
    let newest = series.first().iter_days().nth(series.days().len());
    let Some(next) = newest else {
        return Vec::new();
    };
    next.iter_days()
        .map_while(|date| {
            let day = forecast.iter().find(|day| day.date == date)?;
            let [min, max] = Element::ALL.map(|element| value(day, element));
            let [off_min, off_max] = off;
            extremes(min? - off_min, max? - off_max)
        })
        .collect()
}

/// A front may cross the corrected pair; then it is one temperature all day.
fn extremes(min: f64, max: f64) -> Option<Extremes> {
    let temperature = |value| Temperature::new(value, Unit::Fahrenheit);
    Extremes::new(temperature(min.min(max))?, temperature(max)?)
}

/// How much warmer a forecast was than the series on the days that both have, °F.
fn mean_difference(series: &CompletedSeries, forecast: &[ReceivedDay], element: Element) -> f64 {
    let differences = forecast.iter().filter_map(|day| {
        let known = series.on(day.date)?;
        let read = known.origin(element).estimate().is_none();
        let there = known.temperature(element).fahrenheit();
        Some(value(day, element)? - there).filter(|_| read)
    });
    let differences: Vec<f64> = differences.collect();
    let enough = differences.len() >= ENOUGH_DAYS;
    mean(differences).filter(|_| enough).unwrap_or(0.0)
}

fn value(day: &ReceivedDay, element: Element) -> Option<f64> {
    let value = match element {
        Element::Min => day.min,
        Element::Max => day.max,
    };
    Some(Temperature::new(value?, day.unit)?.fahrenheit())
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::weather::{CompletedDay, Origin};

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
    }

    /// Days of 60 to 90 °F from the first of June on.
    fn series(days: usize) -> CompletedSeries {
        let day = CompletedDay {
            extremes: extremes(60.0, 90.0).unwrap(),
            min: Origin::Measured,
            max: Origin::Measured,
        };
        CompletedSeries::new(date(1), vec![Some(day); days])
    }

    fn forecast(days: std::ops::RangeInclusive<u32>, min: f64, max: f64) -> Vec<ReceivedDay> {
        days.map(|day| ReceivedDay {
            date: date(day),
            min: Some(min),
            max: Some(max),
            unit: Unit::Fahrenheit,
            min_flag: None,
            max_flag: None,
        })
        .collect()
    }

    fn of(days: &[Extremes]) -> Vec<(f64, f64)> {
        let pair = |day: &Extremes| (day.min().fahrenheit(), day.max().fahrenheit());
        days.iter().map(pair).collect()
    }

    #[test]
    fn what_the_model_is_off_on_the_mean_is_taken_away() {
        // On the ten days known the model is 4 °F too warm at night and 2 too cool by day.
        let mut days = forecast(1..=10, 64.0, 88.0);
        days.extend(forecast(11..=12, 70.0, 95.0));
        assert_eq!(of(&forecast_days(&series(10), &days)), [(66.0, 97.0); 2]);
    }

    #[test]
    fn few_days_in_common_change_nothing() {
        let mut days = forecast(5..=10, 64.0, 88.0);
        days.extend(forecast(11..=11, 70.0, 95.0));
        assert_eq!(of(&forecast_days(&series(10), &days)), [(70.0, 95.0)]);
    }

    #[test]
    fn it_ends_at_the_first_day_that_is_missing_and_begins_after_the_newest_known() {
        let mut days = forecast(11..=12, 70.0, 95.0);
        days.extend(forecast(14..=16, 70.0, 95.0));
        assert_eq!(forecast_days(&series(10), &days).len(), 2);
        assert_eq!(forecast_days(&series(9), &days).len(), 0);
    }
}
