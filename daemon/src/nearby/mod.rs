//! Stations around an orchard: what the services' own lists say, put together.
//!
//! One file per list: the request it makes and a pure function from the answer to stations. One list that fails does
//! not hide the others.

mod acis;
mod cimis;
mod error;
mod found;
mod ghcn;
mod lines;
mod request;
mod together;

use std::time::Duration;

pub use error::NearbyError;
pub use found::{Found, Lately, Served};
pub use lines::lines;
pub use request::{Request, Services};

use crate::feed::{Client, Limits};
use together::together;

/// So many of the nearest stations are asked for the days of the last years, one after the other.
const ASKED_FOR_DAYS: usize = 5;
/// The one list that is long: every station of the world, some 35 MB.
const LONG_LIST: usize = 96 * 1024 * 1024;

/// What was found.
#[derive(Debug, Default)]
pub struct Nearby {
    /// Stations that go on, the nearest first.
    pub stations: Vec<Found>,
    /// How many others have ended.
    pub ended: usize,
    /// Lists that could not be read.
    pub failed: Vec<NearbyError>,
}

/// What a client is allowed that asks for the long list.
#[must_use]
pub fn patient() -> Limits {
    Limits {
        body_bytes: LONG_LIST,
        total: Duration::from_secs(600),
        overall: Duration::from_secs(900),
        ..Limits::default()
    }
}

/// Asks the lists, one after the other; the long one by a client that is [`patient`].
pub async fn search(client: &Client, patient: &Client, request: &Request) -> Nearby {
    let mut nearby = Nearby::default();
    let mut found = Vec::new();
    take(acis::ask(client, request).await, &mut found, &mut nearby);
    if cimis::may_have(&request.orchard) {
        take(cimis::ask(client, request).await, &mut found, &mut nearby);
    }
    let goes_on = |station: &Found| !station.has_ended(request.day);
    if request.worldwide || !found.iter().any(goes_on) {
        take(ghcn::ask(patient, request).await, &mut found, &mut nearby);
    }
    let mut stations = together(found);
    let all = stations.len();
    stations.retain(goes_on);
    nearby.ended = all - stations.len();
    for station in stations.iter_mut().take(ASKED_FOR_DAYS) {
        let Some(Served::Acis(id)) = station.serves.first() else {
            continue;
        };
        match acis::lately(client, request, id).await {
            Ok(lately) => station.lately = lately,
            Err(error) => {
                nearby.failed.push(error);
                break;
            }
        }
    }
    nearby.stations = stations;
    nearby
}

fn take(answer: Result<Vec<Found>, NearbyError>, found: &mut Vec<Found>, nearby: &mut Nearby) {
    match answer {
        Ok(stations) => found.extend(stations),
        Err(error) => nearby.failed.push(error),
    }
}

#[cfg(test)]
mod tests;
