//! The list of CIMIS stations, which needs no key.

use chrono::NaiveDate;
use duskflight_core::weather::{FOOT_M, Location};
use serde::Deserialize;
use serde_json::Value;

use super::error::NearbyError;
use super::found::{Found, Served};
use super::request::Request;
use crate::feed::Client;

const SERVICE: &str = "CIMIS";
/// How the list writes days.
const DAY: &str = "%m/%d/%Y";

/// Whether the network can have a station near: California, and a little around it.
pub(super) fn may_have(orchard: &Location) -> bool {
    (31.5..43.0).contains(&orchard.latitude) && (-126.0..-113.0).contains(&orchard.longitude)
}

pub(super) async fn ask(client: &Client, request: &Request) -> Result<Vec<Found>, NearbyError> {
    let answer = client.get(&request.services.cimis).await;
    let answer = answer.map_err(NearbyError::get(SERVICE))?;
    parse(&answer, request)
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Answer {
    stations: Vec<Value>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Station {
    station_nbr: String,
    name: String,
    connect_date: String,
    disconnect_date: String,
    is_active: String,
    /// Feet.
    elevation: String,
    /// Degrees, minutes and seconds, a slash, and degrees.
    hms_latitude: String,
    hms_longitude: String,
}

/// The stations of an answer. One that cannot be understood hides no other.
fn parse(answer: &[u8], request: &Request) -> Result<Vec<Found>, NearbyError> {
    let read: Answer =
        serde_json::from_slice(answer).map_err(|_| NearbyError::not_a_list(SERVICE, answer))?;
    let stations = read.stations.into_iter();
    let stations = stations.filter_map(|station| serde_json::from_value(station).ok());
    Ok(stations
        .filter_map(|station: Station| found(&station, request))
        .collect())
}

fn found(station: &Station, request: &Request) -> Option<Found> {
    let degrees = |text: &str| text.split_once('/')?.1.trim().parse::<f64>().ok();
    let day = |text: &str| NaiveDate::parse_from_str(text.trim(), DAY).ok();
    let location = Location {
        latitude: degrees(&station.hms_latitude)?,
        longitude: degrees(&station.hms_longitude)?,
        height_m: station
            .elevation
            .trim()
            .parse()
            .ok()
            .map(|feet: f64| feet * FOOT_M),
    };
    let first = day(&station.connect_date)?;
    let until = day(&station.disconnect_date)?;
    let has_end = until < request.day;
    // Of one that rests the end may lie as far ahead as of one that goes on; when it went to rest is not said.
    let rests_since = if has_end { until } else { first };
    let newest = match station.is_active.eq_ignore_ascii_case("true") {
        true => has_end.then_some(until),
        false => Some(rests_since),
    };
    Some(Found {
        name: station.name.trim().to_owned(),
        distance_km: request.near(&location)?,
        location,
        serves: vec![Served::Cimis(station.station_nbr.trim().parse().ok()?)],
        first,
        newest,
        lately: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nearby::tests::request;

    const REAL: &[u8] = include_bytes!("../../../tests/data/feeds/cimis/stations.json");

    #[test]
    fn real_stations_are_read_with_feet_degrees_and_days() {
        let request = Request {
            orchard: Location {
                latitude: 36.7,
                longitude: -120.4,
                height_m: None,
            },
            ..request()
        };
        let found = parse(REAL, &request).unwrap();
        let of = |number| {
            found
                .iter()
                .find(|one| one.serves == [Served::Cimis(number)])
        };
        let firebaugh = of(7).unwrap();
        assert_eq!(firebaugh.name, "Firebaugh/Telles");
        let place = (firebaugh.location.latitude, firebaugh.location.longitude);
        assert_eq!(place, (36.851222, -120.590920));
        assert!((firebaugh.location.height_m.unwrap() - 56.4).abs() < 0.1);
        assert_eq!(
            (firebaugh.first.to_string(), firebaugh.newest),
            ("1982-09-22".to_owned(), None)
        );
        assert!(of(5).is_none(), "Shafter is far");
        // Fresno/F.S.U. ended in 1988.
        let wide = Request {
            within_km: 80.0,
            ..request
        };
        let found = parse(REAL, &wide).unwrap();
        let ended = found
            .iter()
            .find(|one| one.serves == [Served::Cimis(1)])
            .unwrap();
        assert!(ended.has_ended(wide.day));
    }

    #[test]
    fn one_that_rests_has_ended_and_one_that_cannot_be_understood_hides_no_other() {
        let text = String::from_utf8(REAL.to_vec()).unwrap();
        let resting = text.replace("\"IsActive\": \"True\"", "\"IsActive\": \"False\"");
        let wide = Request {
            within_km: 400.0,
            ..request()
        };
        let stations = |text: &str| parse(text.as_bytes(), &wide).unwrap();
        assert!(stations(&resting).iter().all(|one| one.has_ended(wide.day)));
        let odd = text.replacen("36.814444", "?", 1);
        assert_eq!(stations(&odd).len(), stations(&text).len() - 1);
        assert!(parse(b"<html><title>Request Rejected", &wide).is_err());
    }
}
