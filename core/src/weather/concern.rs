//! What speaks against a station for an orchard.

use chrono::NaiveDate;

use super::Location;

/// Stations at heights that differ by more are told apart: on a slope the nights are of another kind. Common practice, no
/// source, as are the two below.
const HEIGHT_M: f64 = 150.0;
/// A record of fewer years has few past years for a projection.
const SHORT_YEARS: f64 = 10.0;
/// Fewer of the last three years' days than this, and the station often fails.
const GAPPY_SHARE: f64 = 0.9;
/// Sea air reaches about so far inland on a summer afternoon, kilometres. Common practice, no source.
const SEA_AIR_KM: f64 = 40.0;
/// A station so many kilometres nearer to the sea than the orchard has other air. Common practice, no source.
const NEARER_KM: f64 = 20.0;

/// One thing that speaks against a station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Concern {
    /// It stands so many metres higher than the orchard, or lower where that is below zero.
    Height(f64),
    /// It is nearer to the sea: kilometres from it, and of the orchard.
    Sea(f64, f64),
    /// Its record has so few years.
    Short(f64),
    /// Of the last years so few days are there, as a share.
    Gappy(f64),
}

/// What is known of a station that might serve an orchard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prospect {
    /// Where it stands.
    pub location: Location,
    /// Its first day.
    pub first: NaiveDate,
    /// The share of the last years' days that it has, where that was asked for.
    pub lately: Option<f64>,
}

/// What speaks against a station for an orchard, as known on a day.
#[must_use]
pub fn concerns(orchard: &Location, station: &Prospect, day: NaiveDate) -> Vec<Concern> {
    let higher = station
        .location
        .height_m
        .zip(orchard.height_m)
        .map(|(station, orchard)| station - orchard);
    let height = higher.filter(|higher| higher.abs() > HEIGHT_M);
    let sea = station.location.sea_km().zip(orchard.sea_km());
    let sea =
        sea.filter(|(station, orchard)| *station < SEA_AIR_KM && orchard - station > NEARER_KM);
    let years = (day - station.first).num_days() as f64 / 365.25;
    let short = (years < SHORT_YEARS).then_some(years);
    let gappy = station.lately.filter(|share| *share < GAPPY_SHARE);
    [
        height.map(Concern::Height),
        sea.map(|(station, orchard)| Concern::Sea(station, orchard)),
        short.map(Concern::Short),
        gappy.map(Concern::Gappy),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(latitude: f64, longitude: f64, height_m: Option<f64>) -> Location {
        Location {
            latitude,
            longitude,
            height_m,
        }
    }

    fn of(orchard: Location, location: Location, first: &str, lately: Option<f64>) -> Vec<Concern> {
        let station = Prospect {
            location,
            first: first.parse().unwrap(),
            lately,
        };
        concerns(&orchard, &station, "2026-11-29".parse().unwrap())
    }

    #[test]
    fn a_station_of_the_same_valley_with_a_long_record_is_as_good_as_any() {
        let orchard = at(37.12, -120.26, Some(73.0));
        let merced = at(37.28, -120.51, Some(47.0));
        assert_eq!(of(orchard, merced, "1998-08-01", Some(0.97)), []);
        assert_eq!(of(orchard, merced, "1998-08-01", None), []);
        let unknown = at(37.12, -120.26, None);
        let mountain = at(37.28, -120.51, Some(1200.0));
        assert_eq!(of(unknown, mountain, "1998-08-01", None), []);
    }

    #[test]
    fn height_sea_a_short_record_and_gaps_are_named() {
        let orchard = at(35.63, -120.40, Some(300.0));
        let station = at(35.24, -120.64, Some(65.0));
        let found = of(orchard, station, "2020-11-29", Some(0.6));
        let [
            Concern::Height(higher),
            Concern::Sea(station, orchard),
            Concern::Short(years),
            Concern::Gappy(share),
        ] = found.as_slice()
        else {
            panic!("{found:?}");
        };
        assert_eq!((*higher, *share), (-235.0, 0.6));
        assert!(*station < 20.0 && *orchard > 40.0, "{station} {orchard}");
        assert!((years - 6.0).abs() < 0.01);
    }
}
