//! Asking a feed, and reading what comes.

use std::fmt;

use chrono::NaiveDate;
use duskflight_core::weather::ReceivedDay;

use super::{
    Client, FeedError, FeedSource, FetchedDays, ForecastSource, HttpUrl, ParseError, TableFeed,
    TableSource, Version, acis, cimis, ghcn, iem, ncei, nws, open_meteo, table,
};

/// The days that came, and which version of a whole record they are of, where the server says so.
pub type Newer = (FetchedDays, Option<Version>);

/// Fetches the days `from..=to` of one station, in the feed's own unit. Days that the feed does
/// not have are absent; none at all is not an error here.
///
/// # Errors
/// [`FeedError`] when nothing came, or what came is not what the feed describes.
pub async fn fetch(
    client: &Client,
    source: &FeedSource,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<FetchedDays, FeedError> {
    let newer = fetch_newer(client, source, (from, to), None).await?;
    Ok(newer.map(|(days, _)| days).unwrap_or_default())
}

/// As [`fetch`]; nothing where the server of a whole record has none newer than the known one.
///
/// # Errors
/// As [`fetch`].
pub async fn fetch_newer(
    client: &Client,
    source: &FeedSource,
    (from, to): (NaiveDate, NaiveDate),
    known: Option<&Version>,
) -> Result<Option<Newer>, FeedError> {
    let days = match source {
        FeedSource::Ncei(feed) => {
            let read = |answer: &[u8]| ncei::parse(answer, &feed.station);
            fetch_days(client, &feed.url(from, to), read).await?
        }
        FeedSource::Acis(feed) => {
            let read = |answer: &[u8]| acis::parse(answer, &feed.station);
            fetch_days(client, &feed.url(from, to), read).await?
        }
        // It refuses to be asked for days before its first.
        FeedSource::Cimis(_) if to < cimis::FIRST => FetchedDays::default(),
        FeedSource::Cimis(feed) => {
            let url = feed.url_with_key(from.max(cimis::FIRST), to);
            let url = url.ok_or(FeedError::NoKey)?;
            fetch_days(client, &url, |answer| cimis::parse(answer, feed.station)).await?
        }
        FeedSource::Ghcn(feed) => {
            let client = client.taking(ghcn::MOST_BYTES);
            let read = |answer: &[u8]| ghcn::parse(answer, feed);
            let newer = fetch_record(&client, &feed.url(), known, read).await?;
            return Ok(newer.map(|newer| within(newer, from, to)));
        }
        FeedSource::Iem(feed) => {
            let read = |answer: &[u8]| iem::parse(answer, &feed.station);
            fetch_days(client, &feed.url(from, to), read).await?
        }
        FeedSource::Nws(feed) => nws::observations::fetch(client, feed, from, to).await?,
        FeedSource::OpenMeteo(feed) => {
            let read = |answer: &[u8]| open_meteo::parse_archive(answer, feed);
            fetch_days(client, &feed.archive_url(from, to), read).await?
        }
        FeedSource::Table(feed) => {
            let newer = fetch_table(client, feed, known).await?;
            return Ok(newer.map(|newer| within(newer, from, to)));
        }
    };
    Ok(Some(within((days, None), from, to)))
}

/// Fetches a forecast: days around today, oldest first.
///
/// # Errors
/// [`FeedError`] when nothing came, or what came is not what the source describes.
pub async fn fetch_forecast(
    client: &Client,
    source: &ForecastSource,
) -> Result<Vec<ReceivedDay>, FeedError> {
    match source {
        ForecastSource::Nws(feed) => nws::grid::fetch(client, feed).await,
        ForecastSource::OpenMeteo(feed) => {
            let url = feed.forecast_url();
            let answer = client.get(&url).await?;
            open_meteo::parse_forecast(&answer, feed).map_err(|error| not_read(&url, error))
        }
        ForecastSource::Table(feed) => {
            let table = fetch_table(client, feed, None).await?;
            Ok(table.map(|(table, _)| table.days).unwrap_or_default())
        }
    }
}

fn within((days, version): Newer, from: NaiveDate, to: NaiveDate) -> Newer {
    (days.within(from, to), version)
}

/// Asks once, and reads the answer.
async fn fetch_days(
    client: &Client,
    url: &HttpUrl,
    read: impl FnOnce(&[u8]) -> Result<FetchedDays, ParseError>,
) -> Result<FetchedDays, FeedError> {
    let answer = client.get(url).await?;
    read(&answer).map_err(|error| not_read(url, error))
}

/// Asks once for a whole record, and reads the answer.
async fn fetch_record(
    client: &Client,
    url: &HttpUrl,
    known: Option<&Version>,
    read: impl FnOnce(&[u8]) -> Result<FetchedDays, ParseError>,
) -> Result<Option<Newer>, FeedError> {
    let Some(answer) = client.get_newer(url, known).await? else {
        return Ok(None);
    };
    let days = read(&answer.body).map_err(|error| not_read(url, error))?;
    Ok(Some((days, answer.version)))
}

async fn fetch_table(
    client: &Client,
    feed: &TableFeed,
    known: Option<&Version>,
) -> Result<Option<Newer>, FeedError> {
    let read = |answer: &[u8]| table::parse(answer, feed);
    match &feed.source {
        TableSource::Url(url) => fetch_record(client, url, known, read).await,
        TableSource::File(path) => {
            let table = table::read_file(path, client.limits().body_bytes).await?;
            let days = read(&table).map_err(|error| not_read(&feed.source, error))?;
            Ok(Some((days, None)))
        }
    }
}

fn not_read(place: &dyn fmt::Display, source: ParseError) -> FeedError {
    FeedError::Parse {
        place: place.to_string(),
        source,
    }
}
