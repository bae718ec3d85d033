//! Stations as declared, checked.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use duskflight_core::weather::StationFacts;

use super::reader::Reader;
use super::secret_place::{Place, Wanted};
use crate::config::Station;
use crate::config::file::StationPart;
use crate::feed::{CimisFeed, FeedSource, ForecastSource};
use crate::nearest::suggestion;
use crate::secret::Secret;

/// Past years that can be asked for.
const HISTORY_YEARS: std::ops::RangeInclusive<u16> = 1..=100;

/// The key of CIMIS.
const CIMIS_KEY: Wanted = Wanted {
    what: "the key for CIMIS",
    file_key: "station.cimis.key_file",
    credential: "cimis-key",
    variable: "DUSKFLIGHT_CIMIS_KEY",
};

/// The feed with its key. Without one its days are missing and nothing else, so that is a warning: somebody who may not
/// read the key may still look at the farm.
fn with_key(reader: &mut Reader<'_>, station: &str, feed: CimisFeed) -> CimisFeed {
    let place = feed.key_file.clone().map(Place::File);
    let key = match place.or_else(|| CIMIS_KEY.handed_in()) {
        Some(place) => CIMIS_KEY
            .text(reader, &place)
            .map_err(|problem| problem.what),
        None => Err(format!(
            "there is no key for CIMIS: name a file in key_file, or hand in the credential {} or the environment variable \
             {}; the service gives keys to whoever registers",
            CIMIS_KEY.credential, CIMIS_KEY.variable
        )),
    };
    let key = key
        .map(|text| text.trim().to_owned())
        .and_then(|key| match key.is_empty() {
            true => Err("the key for CIMIS is empty".to_owned()),
            false => Ok(key),
        });
    if let Err(why) = &key {
        reader.warn(format!("station {station}: {why}"));
    }
    CimisFeed {
        key: key.ok().map(Secret::new),
        ..feed
    }
}

pub(super) fn stations(reader: &mut Reader<'_>, parts: Vec<StationPart>) -> Vec<Station> {
    let mut seen = BTreeSet::new();
    let mut stations = Vec::new();
    fall_backs(reader, &parts);
    for part in parts {
        if !seen.insert(part.id.clone()) {
            reader.at(&["station", part.id.as_str()], ": the id stands twice");
        }
        let table = part.table.map(|mut table| {
            table.resolve(reader.dir);
            FeedSource::Table(table)
        });
        let ncei = part.ncei.map(FeedSource::Ncei);
        let acis = part.acis.map(FeedSource::Acis);
        let cimis = part
            .cimis
            .map(|feed| FeedSource::Cimis(with_key(reader, part.id.as_str(), feed)));
        let sources = [ncei, acis, cimis, table];
        let [source] = &sources.into_iter().flatten().collect::<Vec<_>>()[..] else {
            let what =
                ": give one of [station.ncei], [station.acis], [station.cimis] and [station.table]";
            reader.at(&["station", part.id.as_str()], what);
            continue;
        };
        let source = source.clone();
        reader.named(&["station", part.id.as_str(), "name"], &part.name);
        if !HISTORY_YEARS.contains(&part.history_years) {
            let path = ["station", part.id.as_str(), "history_years"];
            let years = part.history_years;
            reader.at(
                &path,
                format!(" = {years}: write 1 to 100; the projection rests on them"),
            );
        }
        let forecast = part.forecast.map(|forecast| match forecast {
            ForecastSource::Table(mut table) => {
                table.resolve(reader.dir);
                ForecastSource::Table(table)
            }
            other => other,
        });
        let moves = moves(reader, part.id.as_str(), &part.moved);
        stations.push(Station {
            id: part.id,
            name: part.name,
            source,
            history_years: part.history_years,
            facts: StationFacts {
                day_boundary: part.day_boundary,
                moves,
            },
            fall_backs: part.fall_backs,
            forecast,
        });
    }
    stations
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
