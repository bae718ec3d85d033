//! Stations as declared, checked.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use chrono::NaiveDate;
use chrono_tz::Tz;
use duskflight_core::weather::{Location, StationFacts};
use duskflight_core::wording::station_words;

use super::feeds;
use super::reader::Reader;
use crate::config::Station;
use crate::config::file::StationPart;
use crate::feed::Values;
use crate::nearest::suggestion;

/// Past years that can be asked for.
const HISTORY_YEARS: RangeInclusive<u16> = 1..=100;

/// Reads the stations of a farm in a zone.
pub(super) fn stations(reader: &mut Reader<'_>, parts: Vec<StationPart>, zone: Tz) -> Vec<Station> {
    let mut seen = BTreeSet::new();
    let mut stations = Vec::new();
    fall_backs(reader, &parts);
    past_from(reader, &parts);
    for part in parts {
        if !seen.insert(part.id.clone()) {
            reader.at(&["station", part.id.as_str()], ": the id stands twice");
        }
        let Some(source) = feeds::source(reader, &part, zone) else {
            continue;
        };
        let location = location(
            reader,
            part.id.as_str(),
            [part.latitude, part.longitude, part.height_m],
        );
        reader.named(&["station", part.id.as_str(), "name"], &part.name);
        if !HISTORY_YEARS.contains(&part.history_years) {
            let path = ["station", part.id.as_str(), "history_years"];
            let years = part.history_years;
            reader.at(
                &path,
                format!(" = {years}: write 1 to 100; the projection rests on them"),
            );
        }
        let forecast = feeds::forecast(reader, &part, zone);
        let moves = moves(reader, part.id.as_str(), &part.moved);
        let modelled = source.declares().values == Values::Modelled;
        stations.push(Station {
            id: part.id,
            name: station_words(&part.name, modelled),
            source,
            history_years: part.history_years,
            facts: StationFacts {
                day_boundary: part.day_boundary,
                moves,
                location,
                modelled,
            },
            fall_backs: part.fall_backs,
            past_from: part.past_from,
            forecast,
        });
    }
    stations
}

/// Where a station stands, which latitude and longitude say together.
fn location(reader: &mut Reader<'_>, station: &str, given: [Option<f64>; 3]) -> Option<Location> {
    let mut number = |key, value: Option<f64>, most: RangeInclusive<f64>| match value {
        Some(value) if !most.contains(&value) => {
            let (low, high) = (most.start(), most.end());
            let what = format!(" = {value}: write a number from {low} to {high}");
            reader.at(&["station", station, key], what);
            None
        }
        value => value,
    };
    let latitude = number("latitude", given[0], -90.0..=90.0);
    let longitude = number("longitude", given[1], -180.0..=180.0);
    let height_m = number("height_m", given[2], Location::HEIGHTS_M);
    if given[0].is_some() != given[1].is_some() {
        let what = ": give latitude and longitude together, or neither";
        reader.at(&["station", station], what);
    } else if given[2].is_some() && given[0].is_none() {
        let what = ": give latitude and longitude too; the height alone says nothing";
        reader.at(&["station", station, "height_m"], what);
    }
    Some(Location {
        latitude: latitude?,
        longitude: longitude?,
        height_m,
    })
}

/// First days at another place, as written.
fn moves(reader: &mut Reader<'_>, station: &str, moved: &[String]) -> Vec<NaiveDate> {
    let mut moves = Vec::new();
    for text in moved {
        match text.parse() {
            Ok(day) => moves.push(day),
            Err(_) => reader.at(
                &["station", station, "moved"],
                format!(": {text:?} is not a day; write the first day at the new place, such as 1998-08-01"),
            ),
        }
    }
    moves
}

/// Past years come from another declared station that has its own.
fn past_from(reader: &mut Reader<'_>, parts: &[StationPart]) {
    for part in parts {
        let Some(id) = &part.past_from else { continue };
        let lender = parts.iter().find(|other| &other.id == id);
        let what = match lender {
            _ if *id == part.id => "a station cannot borrow from itself".to_owned(),
            None => {
                let near = suggestion(id.as_str(), parts.iter().map(|other| other.id.as_str()));
                format!("no such station{near}")
            }
            Some(lender) if lender.past_from.is_some() => {
                "its past years are borrowed, too; name a station that has its own".to_owned()
            }
            Some(_) => continue,
        };
        let path = ["station", part.id.as_str(), "past_from"];
        reader.at(&path, format!(": {id}: {what}"));
    }
}

/// Each fall-back is another declared station, named once.
fn fall_backs(reader: &mut Reader<'_>, parts: &[StationPart]) {
    for part in parts {
        let mut seen = BTreeSet::new();
        for id in &part.fall_backs {
            let known = parts.iter().any(|other| &other.id == id);
            let what = if *id == part.id {
                "a station cannot stand in for itself".to_owned()
            } else if !known {
                let near = suggestion(id.as_str(), parts.iter().map(|other| other.id.as_str()));
                format!("no such station{near}")
            } else if !seen.insert(id) {
                "it stands twice".to_owned()
            } else {
                continue;
            };
            let path = ["station", part.id.as_str(), "fall_backs"];
            reader.at(&path, format!(": {id}: {what}"));
        }
    }
}
