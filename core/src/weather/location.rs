//! Where a station stands, and what its days can be there.

use std::f64::consts::TAU;
use std::ops::RangeInclusive;

use chrono::{Datelike, NaiveDate};

/// The mean radius of the earth, kilometres (IUGG, Moritz 2000, Journal of Geodesy 74:128).
pub(super) const EARTH_KM: f64 = 6371.0088;
/// Metres of a foot, as international agreement has it since 1959.
pub const FOOT_M: f64 = 0.3048;
/// Kelvin that the air cools by a metre of height, as in the standard atmosphere (ISO 2533:1975).
const COOLING_BY_HEIGHT: f64 = 0.0065;
/// A year's mean at sea level by latitude, °C: the two terms of the zonal mean in the second Legendre polynomial of the
/// sine (North and others 1981, Reviews of Geophysics 19:91, values from memory).
const ZONAL_MEAN_C: (f64, f64) = (14.9, -28.0);
/// Kelvin by which July is warmer than the year, for each degree of latitude, inland. Common practice, no source: 13 at
/// 37 degrees.
const SWING_BY_LATITUDE: f64 = 0.35;
/// The warmest day of the year north of the equator; south of it half a year away. Common practice, no source.
const WARMEST_DAY: f64 = 200.0;
/// The median of ten days' maxima or more lies so far from the mean by place and day, kelvin. On eleven records of the San
/// Joaquin Valley it lay from 0 to 23 above; a cold sea takes ten from a summer day.
const MAXIMA_C: (f64, f64) = (-10.0, 27.0);

/// Where a station stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Location {
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east; west of Greenwich it is below zero.
    pub longitude: f64,
    /// Metres above the sea, where that is known.
    pub height_m: Option<f64>,
}

impl Location {
    /// Heights that a station or an orchard may have, metres above the sea.
    pub const HEIGHTS_M: RangeInclusive<f64> = -450.0..=6000.0;

    /// South, north, west and east of a box that holds every place so many kilometres around, degrees.
    #[must_use]
    pub fn box_around(&self, km: f64) -> [f64; 4] {
        let north = (km / EARTH_KM).to_degrees();
        // Towards a pole every meridian is near.
        let east = north / self.latitude.to_radians().cos().max(0.01);
        let (latitude, longitude) = (self.latitude, self.longitude);
        [
            latitude - north,
            latitude + north,
            longitude - east,
            longitude + east,
        ]
    }

    /// The way to another place along the earth, kilometres.
    #[must_use]
    pub fn distance_km(&self, other: &Self) -> f64 {
        let half = |one: f64, other: f64| ((other - one).to_radians() / 2.0).sin().powi(2);
        let cosines = self.latitude.to_radians().cos() * other.latitude.to_radians().cos();
        let chord =
            half(self.latitude, other.latitude) + cosines * half(self.longitude, other.longitude);
        2.0 * EARTH_KM * chord.sqrt().min(1.0).asin()
    }

    /// Within which the median of ten days' maxima or more lies around a day, °F. As wide as coasts and deserts, so that
    /// what lies outside is no weather.
    #[must_use]
    pub fn possible_maxima_f(&self, day: NaiveDate) -> RangeInclusive<f64> {
        let mean = self.mean_c(day);
        let fahrenheit = |by: f64| (mean + by) * 1.8 + 32.0;
        fahrenheit(MAXIMA_C.0)..=fahrenheit(MAXIMA_C.1)
    }

    /// A rough mean of the day, °C.
    fn mean_c(&self, day: NaiveDate) -> f64 {
        let sine = self.latitude.to_radians().sin();
        let second_legendre = (3.0 * sine * sine - 1.0) / 2.0;
        let at_sea_level = ZONAL_MEAN_C.0 + ZONAL_MEAN_C.1 * second_legendre;
        let from_warmest = f64::from(day.ordinal()) - WARMEST_DAY;
        let season = (TAU * from_warmest / 365.25).cos();
        let swing = SWING_BY_LATITUDE * self.latitude * season;
        at_sea_level + swing - COOLING_BY_HEIGHT * self.height_m.unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ed Williams, Aviation Formulary: LAX to JFK, 0.623585 radians.
    #[test]
    fn a_distance_is_that_of_a_published_example() {
        let place = |latitude: (f64, f64), longitude: (f64, f64)| Location {
            latitude: latitude.0 + latitude.1 / 60.0,
            longitude: -(longitude.0 + longitude.1 / 60.0),
            height_m: None,
        };
        let lax = place((33.0, 57.0), (118.0, 24.0));
        let jfk = place((40.0, 38.0), (73.0, 47.0));
        let radians = lax.distance_km(&jfk) / EARTH_KM;
        assert!((radians - 0.623_585).abs() < 1e-6, "{radians}");
        assert!((jfk.distance_km(&lax) / EARTH_KM - radians).abs() < 1e-12);
        assert!(lax.distance_km(&lax).abs() < 1e-9);
    }

    #[test]
    fn what_is_possible_follows_latitude_height_and_month() {
        let check =
            |latitude: f64, height_m: f64, month: u32, possible_c: f64, impossible_c: f64| {
                let place = Location {
                    latitude,
                    longitude: 0.0,
                    height_m: Some(height_m),
                };
                let day = NaiveDate::from_ymd_opt(2022, month, 15).unwrap();
                let range = place.possible_maxima_f(day);
                let fahrenheit = |celsius: f64| celsius * 1.8 + 32.0;
                assert!(
                    range.contains(&fahrenheit(possible_c)),
                    "{possible_c} of {range:?}"
                );
                assert!(
                    !range.contains(&fahrenheit(impossible_c)),
                    "{impossible_c} of {range:?}"
                );
            };
        // Means of maxima of the records in tests/data/stations: Fresno in July and January.
        check(36.8, 100.0, 7, 36.7, 9.8);
        check(36.8, 100.0, 1, 12.8, 55.0);
        // Half a year apart south of the equator.
        check(-36.8, 100.0, 1, 36.7, 9.8);
        // What a valley has in winter and a mountain may have in summer.
        check(36.8, 3000.0, 7, 12.0, 38.0);
    }
}
