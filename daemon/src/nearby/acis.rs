//! The stations of ACIS (StnMeta), and how many of their last days are there (StnData).

use chrono::{Months, NaiveDate};
use duskflight_core::weather::{FOOT_M, Location};
use serde::Deserialize;
use serde_json::{Value, json};

use super::error::NearbyError;
use super::found::{Found, Lately, Served};
use super::request::{Request, below};
use crate::clock::day_before;
use crate::feed::{Client, HttpUrl};

const SERVICE: &str = "ACIS";
/// The last years whose days are counted.
const YEARS: u32 = 3;
/// A reading up to this hour is one of the morning.
const LAST_OF_MORNING: i64 = 11;

pub(super) async fn ask(client: &Client, request: &Request) -> Result<Vec<Found>, NearbyError> {
    let answer = client.get(&url(request)).await;
    let answer = answer.map_err(NearbyError::get(SERVICE))?;
    parse(&answer, request)
}

fn url(request: &Request) -> HttpUrl {
    let [south, north, west, east] = request
        .orchard
        .box_around(request.within_km)
        .map(|degrees| format!("{degrees:.4}"));
    let bounds = [west, south, east, north].join(",");
    let params = json!({
        "bbox": bounds,
        "elems": "maxt,mint",
        "meta": "name,state,ll,elev,sids,valid_daterange",
    });
    method(&request.services.acis, "StnMeta", &params)
}

/// The address of one of the service's methods.
fn method(service: &HttpUrl, name: &str, params: &Value) -> HttpUrl {
    let params = params.to_string();
    below(service, name).with_query([("params", params.as_str())])
}

#[derive(Debug, Deserialize)]
struct Answer {
    meta: Vec<Value>,
}

#[derive(Debug, Deserialize)]
struct Station {
    name: String,
    /// Two letters of the US.
    state: Option<String>,
    /// Longitude and latitude.
    ll: (f64, f64),
    /// Feet.
    elev: Option<f64>,
    /// Ids, each with the number of its kind.
    sids: Vec<String>,
    /// First and newest day of each element; nothing of one that it has no day of.
    valid_daterange: Vec<Vec<String>>,
}

/// The stations of an answer that have both temperatures. One that cannot be understood hides no other.
fn parse(answer: &[u8], request: &Request) -> Result<Vec<Found>, NearbyError> {
    let read: Answer =
        serde_json::from_slice(answer).map_err(|_| NearbyError::not_a_list(SERVICE, answer))?;
    let stations = read.meta.into_iter();
    let stations = stations.filter_map(|station| serde_json::from_value(station).ok());
    Ok(stations
        .filter_map(|station| found(station, request))
        .collect())
}

fn found(station: Station, request: &Request) -> Option<Found> {
    let location = Location {
        latitude: station.ll.1,
        longitude: station.ll.0,
        height_m: station.elev.map(|feet| feet * FOOT_M),
    };
    let mut days = Vec::new();
    for range in &station.valid_daterange {
        let [first, newest] = range.as_slice() else {
            return None;
        };
        days.push((first.parse().ok()?, newest.parse().ok()?));
    }
    let both: NaiveDate = days.iter().map(|(first, _)| *first).max()?;
    let newest: NaiveDate = days.iter().map(|(_, newest)| *newest).min()?;
    let serves = serves(&station.sids, station.state.as_deref());
    (!serves.is_empty()).then_some(Found {
        name: station.name,
        distance_km: request.near(&location)?,
        location,
        serves,
        first: both,
        // Of an open one some answers give the end of time.
        newest: (newest < request.day).then_some(newest),
        lately: None,
    })
}

/// The id to ask for, by the kinds that name one place best, then the feeds that other ids name: an airport of the US
/// is the IEM's in its state's network, by its own letters without the K.
fn serves(sids: &[String], state: Option<&str>) -> Vec<Served> {
    const FAA: &str = "3";
    const ICAO: &str = "5";
    const GHCN: &str = "6";
    const BEST_FIRST: [&str; 5] = [ICAO, GHCN, "1", "2", "7"];
    let of_kind = |kind: &str| {
        let mut ids = sids.iter().filter_map(|sid| sid.split_once(' '));
        ids.find(|(_, of)| *of == kind).map(|(id, _)| id.to_owned())
    };
    let acis = BEST_FIRST.iter().find_map(|kind| {
        let id = of_kind(kind)?;
        // Four letters are no other kind's.
        Some(if *kind == ICAO {
            id
        } else {
            format!("{id} {kind}")
        })
    });
    let ncei = of_kind(GHCN).map(Served::Ncei);
    let of_us = of_kind(ICAO).and_then(|icao| icao.strip_prefix('K').map(str::to_owned));
    let iem = of_kind(FAA).filter(|faa| Some(faa) == of_us.as_ref());
    let iem = iem.zip(state);
    let iem = iem.map(|(id, state)| Served::Iem(format!("{state}_ASOS"), id));
    let acis = acis.map(Served::Acis);
    acis.into_iter().chain(iem).chain(ncei).collect()
}

pub(super) async fn lately(
    client: &Client,
    request: &Request,
    id: &str,
) -> Result<Option<Lately>, NearbyError> {
    let to = day_before(request.day);
    let from = request.day.checked_sub_months(Months::new(12 * YEARS));
    let params = json!({
        "sid": id,
        "sdate": from.unwrap_or(to).to_string(),
        "edate": to.to_string(),
        "elems": [{"name": "maxt", "add": "t"}, {"name": "mint", "add": "t"}],
        "meta": "sids",
    });
    let url = method(&request.services.acis, "StnData", &params);
    let answer = client.get(&url).await;
    let answer = answer.map_err(NearbyError::get(SERVICE))?;
    parse_days(&answer)
}

/// A value and the hour at which it was read.
type Reading = (Value, i64);

#[derive(Debug, Deserialize)]
struct DaysAnswer {
    /// A day, its maximum and its minimum.
    data: Vec<(String, Reading, Reading)>,
}

/// The share of days with both temperatures; nothing where there is no day at all.
fn parse_days(answer: &[u8]) -> Result<Option<Lately>, NearbyError> {
    let read: DaysAnswer =
        serde_json::from_slice(answer).map_err(|_| NearbyError::not_a_list(SERVICE, answer))?;
    let is_number = |value: &Value| match value {
        Value::String(text) => text.trim().parse::<f64>().is_ok(),
        value => value.is_number(),
    };
    let days = read.data.iter();
    let both = days.filter(|(_, max, min)| is_number(&max.0) && is_number(&min.0));
    let hours: Vec<i64> = both.map(|(_, max, _)| max.1).collect();
    // An hour of -1 is unknown; midnight is 24 and sometimes 0.
    let morning = hours
        .iter()
        .filter(|hour| (1..=LAST_OF_MORNING).contains(*hour));
    let mornings = morning.count();
    Ok((!read.data.is_empty()).then(|| Lately {
        share: hours.len() as f64 / read.data.len() as f64,
        morning: 2 * mornings > hours.len(),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nearby::tests::request;

    #[test]
    fn the_request_names_the_box_and_the_elements() {
        let url = url(&request());
        let (name, params) = url.whole().query_pairs().next().unwrap();
        assert_eq!((url.whole().path(), &*name), ("/StnMeta", "params"));
        let params: Value = serde_json::from_str(&params).unwrap();
        let expected = json!({"bbox": "-120.8239,36.6703,-119.6961,37.5697", "elems": "maxt,mint",
            "meta": "name,state,ll,elev,sids,valid_daterange"});
        assert_eq!(params, expected);
    }

    #[test]
    fn a_station_counts_from_the_day_it_has_both_temperatures_and_in_metres() {
        let answer = json!({"meta": [
            {"name": "MERCED MUNICIPAL AIRPORT", "state": "CA", "ll": [-120.5128, 37.2848], "elev": 153.0, "uid": 1,
             "sids": ["23257 1", "MCE 3", "KMCE 5", "USW00023257 6"],
             "valid_daterange": [["1998-08-01", "2026-11-28"], ["1998-07-03", "2026-11-27"]]},
            {"name": "NO MINIMA", "ll": [-120.5, 37.2], "sids": ["1 2"], "valid_daterange": [["1998-08-01", "2026-11-28"], []]},
            {"name": "NOWHERE", "sids": ["1 2"], "valid_daterange": [["1998-08-01", "2026-11-28"]]},
            {"name": "FAR", "ll": [-119.7, 37.5], "sids": ["1 2"], "valid_daterange": [["1998-08-01", "2026-11-28"]]},
            {"name": "COOP", "ll": [-120.3, 37.1], "sids": ["045532 2", "MRDC1 7"],
             "valid_daterange": [["1980-01-01", "9999-12-31"], ["1980-01-01", "9999-12-31"]]},
        ]});
        let found = parse(answer.to_string().as_bytes(), &request()).unwrap();
        let [merced, coop] = found.as_slice() else {
            panic!("{found:?}");
        };
        let ids = [
            Served::Acis("KMCE".to_owned()),
            Served::Iem("CA_ASOS".to_owned(), "MCE".to_owned()),
            Served::Ncei("USW00023257".to_owned()),
        ];
        assert_eq!(merced.serves, ids);
        let days = (merced.first.to_string(), merced.newest.unwrap().to_string());
        assert_eq!(days, ("1998-08-01".to_owned(), "2026-11-27".to_owned()));
        assert!((merced.location.height_m.unwrap() - 46.6).abs() < 0.1);
        assert_eq!(coop.serves, [Served::Acis("045532 2".to_owned())]);
        assert_eq!((coop.location.height_m, coop.newest), (None, None));
        for wrong in ["", "<html>Request Rejected", "{\"error\":\"invalid bbox\"}"] {
            assert!(parse(wrong.as_bytes(), &request()).is_err(), "{wrong}");
        }
    }

    #[test]
    fn days_are_counted_that_have_both_temperatures_and_morning_readers_are_known() {
        let answer = |hour: i64| {
            json!({"data": [["2024-06-01", ["95", hour], ["63", hour]], ["2024-06-02", ["M", -1], ["M", -1]],
                ["2024-06-03", ["S", -1], ["58", hour]], ["2024-06-04", ["98", hour], ["64", hour]]]})
        };
        for (hour, morning) in [(7, true), (24, false), (17, false), (-1, false), (0, false)] {
            let lately = parse_days(answer(hour).to_string().as_bytes()).unwrap();
            assert_eq!(
                lately,
                Some(Lately {
                    share: 0.5,
                    morning
                }),
                "{hour}"
            );
        }
        assert_eq!(parse_days(b"{\"data\":[]}").unwrap(), None);
        assert!(parse_days(b"{\"error\":\"unknown sid\"}").is_err());
    }
}
