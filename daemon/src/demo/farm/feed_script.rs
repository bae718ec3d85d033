//! What the demo's feed does wrong in the season it plays.

use std::ops::RangeInclusive;

use chrono::{Datelike, Days, NaiveDate};
use duskflight_core::weather::ReceivedDay;

use super::days::{MonthDay, day_of};

/// The newest day served is this many days old.
pub const LATENCY_DAYS: u64 = 2;
/// These days are missing from the feed until [`GAP_FILLED_ON`]: the station's line was down.
pub const GAP: RangeInclusive<MonthDay> = (4, 24)..=(4, 27);
/// From this day on the feed serves [`GAP`] after all.
pub const GAP_FILLED_ON: MonthDay = (6, 3);
/// These days never arrive: the station's battery was flat.
pub const LOST_GAP: RangeInclusive<MonthDay> = (7, 16)..=(7, 18);
/// These days' maxima are first served from a substitute sensor in the sun.
pub const WRONG_RUN: RangeInclusive<MonthDay> = (5, 20)..=(5, 31);
/// How much too high the substitute sensor reads, °C (9 °F).
pub const WRONG_BY_C: f64 = 5.0;
/// From this day on the feed serves the right maxima of [`WRONG_RUN`].
pub const CORRECTED_ON: MonthDay = (6, 24);

/// The record as the feed would serve it on `today` while it plays the season of `year`: up to
/// [`LATENCY_DAYS`] ago, with that season's gaps and its run of wrong maxima.
#[must_use]
pub fn as_known_on(record: &[ReceivedDay], year: i32, today: NaiveDate) -> Vec<ReceivedDay> {
    let newest = today - Days::new(LATENCY_DAYS);
    record
        .iter()
        .filter(|day| day.date <= newest)
        .filter_map(|day| match day.date.year() == year {
            true => served(day, today),
            false => Some(day.clone()),
        })
        .collect()
}

/// One day of the season as served on `today`; `None` while it is missing.
fn served(day: &ReceivedDay, today: NaiveDate) -> Option<ReceivedDay> {
    let month_day = (day.date.month(), day.date.day());
    let before = |when| today < day_of(day.date.year(), when);
    let missing =
        LOST_GAP.contains(&month_day) || (GAP.contains(&month_day) && before(GAP_FILLED_ON));
    if missing {
        return None;
    }
    let mut day = day.clone();
    if WRONG_RUN.contains(&month_day) && before(CORRECTED_ON) {
        day.max = day.max.map(|max| max + WRONG_BY_C);
    }
    Some(day)
}

#[cfg(test)]
mod tests {
    use duskflight_core::heat::HeatSeries;
    use duskflight_core::id::StationId;
    use duskflight_core::weather::StationWeather;

    use super::super::station_record;
    use super::*;
    use crate::config::navel_orangeworm;

    fn date(month: u32, day: u32) -> NaiveDate {
        day_of(2022, (month, day))
    }

    fn known(today: NaiveDate, wanted: NaiveDate) -> Option<f64> {
        let served = as_known_on(&station_record(), 2022, today);
        served.iter().find(|day| day.date == wanted)?.max
    }

    #[test]
    fn the_newest_day_is_two_days_old() {
        let served = as_known_on(&station_record(), 2022, date(3, 20));
        assert_eq!(served.last().unwrap().date, date(3, 18));
        assert_eq!(served[0].date, station_record()[0].date);
    }

    #[test]
    fn one_gap_arrives_in_june_and_the_other_never() {
        for day in 24..=27 {
            assert_eq!(known(date(6, 2), date(4, day)), None);
            assert!(known(date(6, 3), date(4, day)).is_some());
        }
        assert!(known(date(6, 2), date(4, 23)).is_some());
        assert!(known(date(6, 2), date(4, 28)).is_some());
        for day in 16..=18 {
            assert_eq!(known(date(10, 30), date(7, day)), None);
        }
    }

    #[test]
    fn earlier_years_are_served_as_they_are() {
        let record = station_record();
        let served = as_known_on(&record, 2022, date(3, 1));
        let earlier = |days: &[ReceivedDay]| -> Vec<ReceivedDay> {
            days.iter()
                .filter(|day| day.date.year() < 2022)
                .cloned()
                .collect()
        };
        assert_eq!(earlier(&served), earlier(&record));
    }

    /// The day on which 1056 °F-days from 11 April are reached, with the record as served on
    /// `today`.
    fn day_of_1056(today: NaiveDate) -> NaiveDate {
        let served = as_known_on(&station_record(), 2022, today);
        let weather = StationWeather::alone(StationId::new("demo").unwrap(), &served, today);
        let heat = HeatSeries::new(weather.series().unwrap(), navel_orangeworm().heat);
        let reached = |&end: &NaiveDate| {
            let sum = heat.sum(date(4, 11), end).unwrap();
            sum.degree_days.fahrenheit_days() >= 1056.0
        };
        date(4, 11).iter_days().find(reached).unwrap()
    }

    #[test]
    fn the_correction_moves_a_day_that_was_passed() {
        let told = day_of_1056(date(6, 23));
        let corrected = day_of_1056(date(6, 25));
        assert!(told < date(6, 22), "{told}");
        assert!(
            (corrected - told).num_days() >= 2,
            "{told} then {corrected}"
        );
    }
}
