//! Station feeds: fetch the days of one station from a public service or a table.
//!
//! One pure parser per feed, one [`Client`] for all of them. A feed's days come as the feed sent
//! them: judging them is the core's part.

pub mod acis;
mod cell;
pub mod cimis;
mod client;
mod declaration;
mod error;
mod excerpt;
mod fetch;
mod get_error;
pub mod ghcn;
mod heard;
pub mod iem;
pub mod ncei;
pub mod nws;
pub mod open_meteo;
mod retry;
mod row_problem;
mod rows;
#[cfg(test)]
mod same_season;
#[cfg(test)]
mod samples;
pub mod table;
#[cfg(test)]
pub(crate) mod test_server;
mod url;
mod version;

use chrono::NaiveDate;
use serde::Deserialize;

pub use acis::AcisFeed;
pub use cimis::CimisFeed;
pub use client::{Caller, Client, ClientError, Limits};
pub use declaration::{Declaration, Needs, Past, Values};
pub use error::{FeedError, ParseError};
pub use excerpt::Excerpt;
pub use fetch::{Newer, fetch, fetch_forecast, fetch_newer};
pub use get_error::GetError;
pub use ghcn::{GhcnFeed, GhcnForm};
pub use heard::Heard;
pub use iem::IemFeed;
pub use ncei::NceiFeed;
pub use nws::grid::NwsGridFeed;
pub use nws::observations::NwsFeed;
pub use open_meteo::OpenMeteoFeed;
pub use row_problem::{RowFault, RowProblem};
pub use rows::FetchedDays;
pub use table::{BadTableSetting, DateFormat, Delimiter, TableFeed, TableSource};
pub use url::{BadUrl, HttpUrl};
pub use version::Version;

/// Every kind of feed, those of stations' days first.
pub const KINDS: [&Declaration; 11] = [
    &ncei::DECLARED,
    &acis::DECLARED,
    &cimis::DECLARED,
    &ghcn::DECLARED,
    &iem::DECLARED,
    &nws::observations::DECLARED,
    &open_meteo::ARCHIVE,
    &table::DECLARED,
    &nws::grid::FORECAST,
    &open_meteo::FORECAST,
    &table::FORECAST,
];

/// Where a station's days come from; in a configuration the one key `ncei`, `acis`,
/// `cimis`, `ghcn`, `iem`, `nws`, `open_meteo` or `table`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FeedSource {
    /// The daily summaries of the US National Centers for Environmental Information.
    Ncei(NceiFeed),
    /// The Applied Climate Information System of the US Regional Climate Centers.
    Acis(AcisFeed),
    /// The California Irrigation Management Information System.
    Cimis(CimisFeed),
    /// Station files of the Global Historical Climatology Network, daily.
    Ghcn(GhcnFeed),
    /// The daily summaries of the Iowa Environmental Mesonet.
    Iem(IemFeed),
    /// What an airport read in the last days, of the US National Weather Service.
    Nws(NwsFeed),
    /// What a model says was there.
    OpenMeteo(OpenMeteoFeed),
    /// A table with one row a day, from a file or an address.
    Table(TableFeed),
}

/// Where a forecast of a station's next days comes from; in a configuration the one key `nws`,
/// `open_meteo` or `table`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ForecastSource {
    /// The forecast of the office of the US National Weather Service for a place.
    Nws(NwsGridFeed),
    /// A model's days for a place.
    OpenMeteo(OpenMeteoFeed),
    /// A table with one row a day, from a file or an address.
    Table(TableFeed),
}

impl ForecastSource {
    /// What its kind is, whatever the station.
    #[must_use]
    pub const fn declares(&self) -> &'static Declaration {
        match self {
            Self::Nws(_) => &nws::grid::FORECAST,
            Self::OpenMeteo(_) => &open_meteo::FORECAST,
            Self::Table(_) => &table::FORECAST,
        }
    }

    /// The source as mails name it.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Nws(_) => "the National Weather Service (weather.gov)",
            Self::OpenMeteo(_) => "Open-Meteo.com (CC BY 4.0)",
            Self::Table(_) => "the table declared for it",
        }
    }

    /// The host that is asked; none where a file is read.
    #[must_use]
    pub fn host(&self) -> Option<String> {
        self.url().map(|url| url.host())
    }

    /// Its address, unless it is a file.
    #[must_use]
    pub fn url(&self) -> Option<HttpUrl> {
        match self {
            Self::Nws(feed) => Some(feed.points_url()),
            Self::OpenMeteo(feed) => Some(feed.forecast_url()),
            Self::Table(feed) => feed.source.url().cloned(),
        }
    }
}

impl FeedSource {
    /// What its kind is, whatever the station.
    #[must_use]
    pub const fn declares(&self) -> &'static Declaration {
        match self {
            Self::Ncei(_) => &ncei::DECLARED,
            Self::Acis(_) => &acis::DECLARED,
            Self::Cimis(_) => &cimis::DECLARED,
            Self::Ghcn(_) => &ghcn::DECLARED,
            Self::Iem(_) => &iem::DECLARED,
            Self::Nws(_) => &nws::observations::DECLARED,
            Self::OpenMeteo(_) => &open_meteo::ARCHIVE,
            Self::Table(_) => &table::DECLARED,
        }
    }

    /// The feed's name in the store.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        self.declares().name
    }

    /// The host that is asked; none where a file is read.
    #[must_use]
    pub fn host(&self) -> Option<String> {
        self.url(NaiveDate::default()).map(|url| url.host())
    }

    /// The address at which it is asked for a day, unless it is a file.
    #[must_use]
    pub fn url(&self, day: NaiveDate) -> Option<HttpUrl> {
        match self {
            Self::Ncei(feed) => Some(feed.url(day, day)),
            Self::Acis(feed) => Some(feed.url(day, day)),
            Self::Cimis(feed) => Some(feed.url(day, day)),
            Self::Ghcn(feed) => Some(feed.url()),
            Self::Iem(feed) => Some(feed.url(day, day)),
            Self::Nws(feed) => Some(feed.url(day)),
            Self::OpenMeteo(feed) => Some(feed.archive_url(day, day)),
            Self::Table(feed) => feed.source.url().cloned(),
        }
    }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod walk;
