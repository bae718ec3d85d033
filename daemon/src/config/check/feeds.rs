//! The feed of a station as declared: one table, with its key where it needs one.

use std::path::PathBuf;

use chrono_tz::Tz;

use super::reader::Reader;
use super::secret_place::{Place, Wanted};
use crate::config::file::StationPart;
use crate::feed::{
    CimisFeed, FeedSource, ForecastSource, KINDS, NwsFeed, NwsGridFeed, OpenMeteoFeed, Values,
};
use crate::secret::Secret;

/// The key of CIMIS.
const CIMIS_KEY: Wanted = Wanted {
    what: "the key for CIMIS",
    file_key: "station.cimis.key_file",
    credential: "cimis-key",
    variable: "DUSKFLIGHT_CIMIS_KEY",
};
/// The key of Open-Meteo, which whoever uses it in business pays for.
const OPEN_METEO_KEY: Wanted = Wanted {
    what: "the key for Open-Meteo",
    file_key: "open_meteo.key_file",
    credential: "open-meteo-key",
    variable: "DUSKFLIGHT_OPEN_METEO_KEY",
};

/// The one feed of a station.
pub(super) fn source(reader: &mut Reader<'_>, part: &StationPart, zone: Tz) -> Option<FeedSource> {
    let table = part.table.clone().map(|mut table| {
        table.resolve(reader.dir, reader.order);
        FeedSource::Table(table)
    });
    let ncei = part.ncei.clone().map(FeedSource::Ncei);
    let acis = part.acis.clone().map(FeedSource::Acis);
    let id = part.id.as_str();
    let cimis = part.cimis.clone().map(|feed| {
        let key = needed_key(reader, id, feed.key_file.clone());
        FeedSource::Cimis(CimisFeed { key, ..feed })
    });
    let ghcn = part.ghcn.clone().map(FeedSource::Ghcn);
    let iem = part.iem.clone().map(FeedSource::Iem);
    let open_meteo = part.open_meteo.clone().map(|feed| {
        let feed = OpenMeteoFeed { zone, ..feed };
        FeedSource::OpenMeteo(with_key(reader, id, feed))
    });
    let nws = part.nws.clone();
    let nws = nws.map(|feed| FeedSource::Nws(NwsFeed { zone, ..feed }));
    let sources = [ncei, acis, cimis, ghcn, iem, nws, open_meteo, table];
    let mut sources = sources.into_iter().flatten();
    match (sources.next(), sources.next()) {
        (Some(source), None) => Some(source),
        _ => {
            let known = KINDS.iter().filter(|kind| kind.values != Values::Forecast);
            let known: Vec<String> = known.map(|kind| format!("[{}]", kind.table)).collect();
            let what = format!(": give one of {}", known.join(", "));
            reader.at(&["station", part.id.as_str()], what);
            None
        }
    }
}

/// The forecast of a station.
pub(super) fn forecast(
    reader: &mut Reader<'_>,
    part: &StationPart,
    zone: Tz,
) -> Option<ForecastSource> {
    part.forecast.clone().map(|forecast| match forecast {
        ForecastSource::Table(mut table) => {
            table.resolve(reader.dir, reader.order);
            ForecastSource::Table(table)
        }
        ForecastSource::Nws(feed) => ForecastSource::Nws(NwsGridFeed { zone, ..feed }),
        ForecastSource::OpenMeteo(feed) => {
            ForecastSource::OpenMeteo(with_key(reader, part.id.as_str(), feed))
        }
    })
}

/// The key of CIMIS. Without one its days are missing and nothing else, so that is a warning: somebody who may not
/// read the key may still look at the farm.
fn needed_key(reader: &mut Reader<'_>, station: &str, file: Option<PathBuf>) -> Option<Secret> {
    let key = key(reader, CIMIS_KEY, file).and_then(|key| {
        key.ok_or_else(|| {
            format!(
                "there is no key for CIMIS: name a file in key_file, or hand in the credential {} or the environment \
                 variable {}; the service gives keys to whoever registers",
                CIMIS_KEY.credential, CIMIS_KEY.variable
            )
        })
    });
    warned(reader, station, key)
}

/// The feed with its key, where there is one.
fn with_key(reader: &mut Reader<'_>, station: &str, feed: OpenMeteoFeed) -> OpenMeteoFeed {
    let key = key(reader, OPEN_METEO_KEY, feed.key_file.clone());
    let key = warned(reader, station, key).flatten();
    OpenMeteoFeed { key, ..feed }
}

/// What stands where a key may stand: in the file that is named, else where it is handed in.
fn key(
    reader: &mut Reader<'_>,
    wanted: Wanted,
    file: Option<PathBuf>,
) -> Result<Option<Secret>, String> {
    let Some(place) = file.map(Place::File).or_else(|| wanted.handed_in()) else {
        return Ok(None);
    };
    let text = wanted
        .text(reader, &place)
        .map_err(|problem| problem.what)?;
    match text.trim() {
        "" => Err(format!("{} is empty", wanted.what)),
        key => Ok(Some(Secret::new(key.to_owned()))),
    }
}

fn warned<T>(reader: &mut Reader<'_>, station: &str, key: Result<T, String>) -> Option<T> {
    key.map_err(|why| reader.warn(format!("station {station}: {why}")))
        .ok()
}
