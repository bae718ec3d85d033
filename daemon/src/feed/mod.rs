//! Station feeds: fetch the days of one station from a public service or a table.
//!
//! One pure parser per feed, one [`Client`] for all of them. A feed's days come as the feed sent
//! them: judging them is the core's part.

pub mod acis;
mod cell;
pub mod cimis;
mod client;
mod error;
mod excerpt;
mod get_error;
mod heard;
pub mod ncei;
pub mod open_meteo;
mod retry;
mod row_problem;
mod rows;
#[cfg(test)]
mod samples;
pub mod table;
#[cfg(test)]
pub(crate) mod test_server;
mod url;

use chrono::NaiveDate;
use duskflight_core::weather::ReceivedDay;
use serde::Deserialize;

pub use acis::AcisFeed;
pub use cimis::CimisFeed;
pub use client::{Client, ClientError, Limits};
pub use error::{FeedError, ParseError};
pub use excerpt::Excerpt;
pub use get_error::GetError;
pub use heard::Heard;
pub use ncei::NceiFeed;
pub use open_meteo::OpenMeteoFeed;
pub use row_problem::{RowFault, RowProblem};
pub use rows::FetchedDays;
pub use table::{BadTableSetting, DateFormat, Delimiter, TableFeed, TableSource};
pub use url::{BadUrl, HttpUrl};

/// Where a station's days come from; in a configuration the one key `ncei`, `acis`, `cimis` or
/// `table`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FeedSource {
    /// The daily summaries of the US National Centers for Environmental Information.
    Ncei(NceiFeed),
    /// The Applied Climate Information System of the US Regional Climate Centers.
    Acis(AcisFeed),
    /// The California Irrigation Management Information System.
    Cimis(CimisFeed),
    /// A table with one row a day, from a file or an address.
    Table(TableFeed),
}

/// Where a forecast of a station's next days comes from; in a configuration the one key `open_meteo`
/// or `table`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ForecastSource {
    /// A model's days for a place.
    OpenMeteo(OpenMeteoFeed),
    /// A table with one row a day, from a file or an address.
    Table(TableFeed),
}

impl ForecastSource {
    /// The source as mails name it.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::OpenMeteo(_) => "Open-Meteo.com (CC BY 4.0)",
            Self::Table(_) => "the table declared for it",
        }
    }

    /// The host that is asked; none where a file is read.
    #[must_use]
    pub fn host(&self) -> Option<String> {
        match self {
            Self::OpenMeteo(feed) => Some(feed.base_url.host()),
            Self::Table(feed) => feed.host(),
        }
    }

    /// Its address, unless it is a file.
    #[must_use]
    pub fn url(&self) -> Option<HttpUrl> {
        match self {
            Self::OpenMeteo(feed) => Some(feed.url()),
            Self::Table(feed) => feed.source.url().cloned(),
        }
    }
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
        ForecastSource::OpenMeteo(feed) => {
            let url = feed.url();
            let answer = client.get(&url).await?;
            open_meteo::parse(&answer).map_err(|source| FeedError::Parse {
                place: url.to_string(),
                source,
            })
        }
        ForecastSource::Table(feed) => Ok(fetch_table(client, feed).await?.days),
    }
}

impl FeedSource {
    /// The feed's name in the store: `ncei-daily-summaries`, `acis-stndata`, `cimis-daily` or
    /// `station-table`.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Ncei(_) => ncei::NAME,
            Self::Acis(_) => acis::NAME,
            Self::Cimis(_) => cimis::NAME,
            Self::Table(_) => table::NAME,
        }
    }

    /// The host that is asked; none where a file is read.
    #[must_use]
    pub fn host(&self) -> Option<String> {
        match self {
            Self::Ncei(feed) => Some(feed.base_url.host()),
            Self::Acis(feed) => Some(feed.base_url.host()),
            Self::Cimis(feed) => Some(feed.base_url.host()),
            Self::Table(feed) => feed.host(),
        }
    }

    /// The address at which it is asked for a day, unless it is a file.
    #[must_use]
    pub fn url(&self, day: NaiveDate) -> Option<HttpUrl> {
        match self {
            Self::Ncei(feed) => Some(feed.url(day, day)),
            Self::Acis(feed) => Some(feed.url(day, day)),
            Self::Cimis(feed) => Some(feed.url(day, day)),
            Self::Table(feed) => feed.source.url().cloned(),
        }
    }
}

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
    let fetched = match source {
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
        FeedSource::Table(feed) => fetch_table(client, feed).await?,
    };
    Ok(fetched.within(from, to))
}

/// Asks once, and reads the answer.
async fn fetch_days(
    client: &Client,
    url: &HttpUrl,
    read: impl FnOnce(&[u8]) -> Result<FetchedDays, ParseError>,
) -> Result<FetchedDays, FeedError> {
    let answer = client.get(url).await?;
    read(&answer).map_err(|source| FeedError::Parse {
        place: url.to_string(),
        source,
    })
}

async fn fetch_table(client: &Client, feed: &TableFeed) -> Result<FetchedDays, FeedError> {
    let answer = match &feed.source {
        TableSource::Url(url) => client.get(url).await?,
        TableSource::File(path) => table::read_file(path, client.limits().body_bytes).await?,
    };
    table::parse(&answer, feed).map_err(|source| FeedError::Parse {
        place: feed.source.to_string(),
        source,
    })
}

#[cfg(test)]
mod tests;
