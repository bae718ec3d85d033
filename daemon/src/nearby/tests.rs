use duskflight_core::weather::Location;

use super::*;
use crate::feed::HttpUrl;

/// Around an orchard between Merced and Chowchilla.
pub(super) fn request() -> Request {
    let url = |text| HttpUrl::new(text).unwrap();
    Request {
        orchard: Location {
            latitude: 37.12,
            longitude: -120.26,
            height_m: Some(73.0),
        },
        within_km: 50.0,
        day: "2026-11-29".parse().unwrap(),
        worldwide: false,
        services: Services {
            acis: url("http://acis.example/"),
            cimis: url("http://cimis.example/api/station"),
            ghcn: url("http://ghcn.example/daily"),
        },
    }
}

/// A station so many degrees north of the orchard.
pub(super) fn station(name: &str, north: f64, serves: &[Served]) -> Found {
    let orchard = request().orchard;
    let location = Location {
        latitude: orchard.latitude + north,
        ..orchard
    };
    Found {
        name: name.to_owned(),
        distance_km: orchard.distance_km(&location),
        location,
        serves: serves.to_vec(),
        first: "1980-01-01".parse().unwrap(),
        newest: None,
        lately: None,
    }
}

#[test]
fn a_station_has_ended_whose_last_day_lies_two_months_back() {
    let day = request().day;
    let check = |newest: Option<&str>, ended: bool| {
        let station = Found {
            newest: newest.map(|day| day.parse().unwrap()),
            ..station("S", 0.1, &[])
        };
        assert_eq!(station.has_ended(day), ended, "{newest:?}");
    };
    check(None, false);
    check(Some("2026-11-28"), false);
    check(Some("2026-09-30"), false);
    check(Some("2026-09-29"), true);
}
