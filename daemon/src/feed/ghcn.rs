//! Station files of the Global Historical Climatology Network, daily (GHCN-Daily, NOAA NCEI): no key, the whole record of
//! a station in one file, worldwide.

mod days;
mod fixed_width;
mod tables;

use std::io::{self, Read};

use flate2::read::MultiGzDecoder;
use serde::Deserialize;

use super::declaration::{Declaration, Needs, Past, Values};
use super::error::{ParseError, data_of};
use super::ncei::ghcn_id;
use super::rows::FetchedDays;
use super::url::HttpUrl;

pub(super) const DECLARED: Declaration = Declaration {
    table: "station.ghcn",
    name: "ghcn-daily",
    service: "GHCN-Daily station files (NOAA), worldwide, by a station's id",
    values: Values::Observed,
    unit: "tenths of °C",
    day: "the station's own climatological day: airports from local standard midnight, cooperative observers from their reading",
    latency: "one to three days; revised for weeks",
    flags: "a value that failed a check of the archive, whichever, does not count unless confirmed; one that seems a day late (L), and \
            one from a summary of the UTC day (S), where nothing better is in the archive, count",
    needs: Needs::Nothing,
    past: Past::Whole,
};
/// The most bytes of a file once it is unpacked: a century of forty elements.
pub(super) const MOST_BYTES: usize = 64 * 1024 * 1024;
/// The first bytes of a packed file.
const GZIP: [u8; 2] = [0x1f, 0x8b];

/// One station's file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GhcnFeed {
    /// The station's id: 11 letters and digits.
    #[serde(deserialize_with = "ghcn_id")]
    pub station: String,
    /// Which of its files.
    #[serde(default)]
    pub form: GhcnForm,
    /// The folder with the files; NOAA's own where there is none.
    pub base_url: Option<HttpUrl>,
}

/// The forms in which the archive has a station's record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GhcnForm {
    /// Packed, one row a value: the smallest by far, and so the one for a bad line.
    #[default]
    ByStation,
    /// `.dly`: fixed width, one line a month and element.
    Dly,
    /// CSV with a header, one row a day.
    Access,
}

impl GhcnForm {
    /// The folder, and the ending of a file in it.
    const fn place(self) -> (&'static str, &'static str) {
        match self {
            Self::ByStation => (
                "https://www.ncei.noaa.gov/pub/data/ghcn/daily/by_station",
                ".csv.gz",
            ),
            Self::Dly => ("https://www.ncei.noaa.gov/pub/data/ghcn/daily/all", ".dly"),
            Self::Access => (
                "https://www.ncei.noaa.gov/data/global-historical-climatology-network-daily/access",
                ".csv",
            ),
        }
    }
}

impl GhcnFeed {
    /// The address of the file.
    #[must_use]
    pub fn url(&self) -> HttpUrl {
        let (folder, ending) = self.form.place();
        let own = || HttpUrl::new(folder).expect("the folders are constants that a test reads");
        let folder = self.base_url.clone().unwrap_or_else(own);
        folder.with_segment(&format!("{}{ending}", self.station))
    }
}

/// Reads a station's file, whatever its days.
///
/// # Errors
/// [`ParseError`] when it is empty, a web page, larger than any station's record, not of the form that was asked for, or
/// has no minima or no maxima.
pub fn parse(answer: &[u8], feed: &GhcnFeed) -> Result<FetchedDays, ParseError> {
    let unpacked;
    let file = match answer.starts_with(&GZIP) {
        true => {
            unpacked = unpack(answer)?;
            &unpacked[..]
        }
        false => answer,
    };
    let file = data_of(file)?;
    match feed.form {
        GhcnForm::Dly => fixed_width::parse(file, &feed.station),
        GhcnForm::ByStation => tables::parse_long(file, &feed.station),
        GhcnForm::Access => tables::parse_wide(file, &feed.station),
    }
}

fn unpack(answer: &[u8]) -> Result<Vec<u8>, ParseError> {
    let mut unpacked = Vec::new();
    let most = MOST_BYTES as u64;
    let read = MultiGzDecoder::new(answer)
        .take(most + 1)
        .read_to_end(&mut unpacked);
    let too_large = || io::Error::other(format!("it unpacks to more than {MOST_BYTES} bytes"));
    match read {
        Ok(_) if unpacked.len() <= MOST_BYTES => Ok(unpacked),
        Ok(_) => Err(ParseError::NotUnpacked {
            source: too_large(),
        }),
        Err(source) => Err(ParseError::NotUnpacked { source }),
    }
}

#[cfg(test)]
#[path = "ghcn/tests.rs"]
mod tests;
