//! A station table: one row a day with the lowest and highest temperature, from a file or an
//! address, as loggers and weather networks export it.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use chrono::{Datelike, NaiveDate};
use csv::{ByteRecord, ErrorKind, Reader, ReaderBuilder};
use duskflight_core::weather::{ReceivedDay, Written};
use duskflight_core::wording::DateOrder;
use serde::Deserialize;

use super::cell::{CellFormat, MissingMarkers};
use super::declaration::{Declaration, Needs, Past, Values};
use super::error::{FeedError, ParseError, data_of};
use super::excerpt::Excerpt;
use super::row_problem::RowFault;
use super::rows::{FetchedDays, Gathered};
use super::url::{BadUrl, HttpUrl};
use crate::sheet::{BadDay, Dates};

pub(super) const DECLARED: Declaration = Declaration {
    table: "station.table",
    name: "station-table",
    service: "a station table: CSV, from a file or an http(s) address",
    values: Values::Observed,
    unit: "as declared",
    day: "as the table defines it",
    latency: "as the table is updated",
    flags: "it has none; the markers that mean \"no value\" are declared",
    needs: Needs::Nothing,
    past: Past::Whole,
};
pub(super) const FORECAST: Declaration = Declaration {
    table: "station.forecast.table",
    service: "a table of coming days, with the same keys",
    values: Values::Forecast,
    ..DECLARED
};
/// How many of a table's columns an error lists.
const COLUMNS_LISTED: usize = 30;
/// Outside of these a year was written with two digits, or the date is of another form.
const YEARS: std::ops::RangeInclusive<i32> = 1800..=2200;

/// A table and how to read it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TableFeed {
    /// A path, relative to the configuration's folder, or an `http` or `https` address.
    pub source: TableSource,
    /// The header of the column with the date.
    pub date_column: String,
    /// The header of the column with the day's lowest temperature.
    pub min_column: String,
    /// The header of the column with the day's highest temperature.
    pub max_column: String,
    /// What both temperatures are written in.
    pub unit: Written,
    /// The form of the date in strftime's letters; a time of day in it is read and left out. Without one, days are
    /// read as `YYYY-MM-DD` and as spreadsheets write them.
    #[serde(default)]
    pub date_format: Option<DateFormat>,
    /// The farm's order of month and day, for days as spreadsheets write them.
    #[serde(skip)]
    pub date_order: DateOrder,
    /// What stands between two fields.
    #[serde(default)]
    pub delimiter: Delimiter,
    /// What stands where a value is missing.
    #[serde(default = "default_missing")]
    pub missing: Vec<String>,
    /// Whether a comma stands before the decimals.
    #[serde(default)]
    pub decimal_comma: bool,
}

impl TableFeed {
    /// The host that is asked; none where a file is read.
    #[must_use]
    pub fn host(&self) -> Option<String> {
        match &self.source {
            TableSource::Url(url) => Some(url.host()),
            TableSource::File(_) => None,
        }
    }

    /// Makes a relative path start at the configuration's folder, and days be read in the farm's order.
    pub fn resolve(&mut self, dir: &Path, order: DateOrder) {
        self.date_order = order;
        if let TableSource::File(path) = &mut self.source {
            // Joining an absolute path gives that path.
            *path = dir.join(&*path);
        }
    }

    /// The file that it names, where that is not there.
    #[must_use]
    pub fn missing_file(&self) -> Option<&Path> {
        match &self.source {
            TableSource::File(path) if !path.exists() => Some(path),
            _ => None,
        }
    }
}

/// Where the table is.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub enum TableSource {
    /// A file.
    File(PathBuf),
    /// An address.
    Url(HttpUrl),
}

impl TableSource {
    /// The address, where it is one.
    #[must_use]
    pub const fn url(&self) -> Option<&HttpUrl> {
        match self {
            Self::File(_) => None,
            Self::Url(url) => Some(url),
        }
    }
}

impl TryFrom<String> for TableSource {
    type Error = BadUrl;
    fn try_from(text: String) -> Result<Self, BadUrl> {
        if text.contains("://") {
            HttpUrl::new(&text).map(Self::Url)
        } else {
            Ok(Self::File(PathBuf::from(text)))
        }
    }
}

impl fmt::Display for TableSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "{}", path.display()),
            Self::Url(url) => write!(f, "{url}"),
        }
    }
}

/// A setting of a table that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadTableSetting {
    /// The date format does not give a whole date back.
    #[error(
        "the date format {0:?} does not hold a whole date in strftime's letters, such as \"%m/%d/%Y\""
    )]
    DateFormat(String),
    /// The delimiter is not one usable character.
    #[error("the delimiter {0:?} must be one ASCII character, and no quote or line break")]
    Delimiter(String),
}

/// The form of a date in strftime's letters, checked to hold a whole date.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub struct DateFormat(String);

impl DateFormat {
    /// Checks the form by writing a date and reading it back.
    ///
    /// # Errors
    /// [`BadTableSetting::DateFormat`] when the date does not come back.
    pub fn new(text: &str) -> Result<Self, BadTableSetting> {
        let date = NaiveDate::from_ymd_opt(2001, 2, 3).expect("3 February 2001 is a date");
        let noon = date.and_hms_opt(12, 5, 6).expect("12:05:06 is a time");
        let mut written = String::new();
        let format = Self(text.to_owned());
        match fmt::write(
            &mut written,
            format_args!("{}", noon.and_utc().format(text)),
        ) {
            Ok(()) if format.date(&written) == Some(date) => Ok(format),
            _ => Err(BadTableSetting::DateFormat(format.0)),
        }
    }

    fn date(&self, text: &str) -> Option<NaiveDate> {
        let date = NaiveDate::parse_from_str(text.trim(), &self.0).ok()?;
        YEARS.contains(&date.year()).then_some(date)
    }
}

impl Default for DateFormat {
    fn default() -> Self {
        Self("%Y-%m-%d".to_owned())
    }
}

impl TryFrom<String> for DateFormat {
    type Error = BadTableSetting;
    fn try_from(text: String) -> Result<Self, BadTableSetting> {
        Self::new(&text)
    }
}

/// What stands between two fields: one ASCII character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub struct Delimiter(u8);

impl Default for Delimiter {
    fn default() -> Self {
        Self(b',')
    }
}

impl TryFrom<String> for Delimiter {
    type Error = BadTableSetting;
    fn try_from(text: String) -> Result<Self, BadTableSetting> {
        match text.as_bytes() {
            [byte] if byte.is_ascii() && !b"\"\r\n".contains(byte) => Ok(Self(*byte)),
            _ => Err(BadTableSetting::Delimiter(text)),
        }
    }
}

/// Reads a whole table, whatever its days.
///
/// # Errors
/// [`ParseError`] when it is empty, a web page, no table, or lacks a column.
pub fn parse(table: &[u8], feed: &TableFeed) -> Result<FetchedDays, ParseError> {
    let mut reader = ReaderBuilder::new()
        .delimiter(feed.delimiter.0)
        .from_reader(data_of(table)?);
    let columns = Columns::find(&mut reader, feed)?;
    let format = CellFormat {
        missing: MissingMarkers::new(&feed.missing),
        decimal_comma: feed.decimal_comma,
    };
    let dates = Dates::of_long_record(feed.date_order);
    let mut gathered = Gathered::default();
    for record in reader.byte_records() {
        match record {
            Ok(record) => gather(&mut gathered, feed, (&format, &dates), columns, &record)?,
            Err(error) => uneven_row(&mut gathered, error)?,
        }
    }
    Ok(gathered.finish())
}

/// Reads the table's file, at most `most` bytes of it.
pub(super) async fn read_file(path: &Path, most: usize) -> Result<Vec<u8>, FeedError> {
    let failed = |source: io::Error| FeedError::ReadFile {
        path: path.to_owned(),
        source,
    };
    let metadata = tokio::fs::metadata(path).await.map_err(failed)?;
    if !metadata.is_file() {
        return Err(FeedError::NotAFile {
            path: path.to_owned(),
        });
    }
    if metadata.len() > most as u64 {
        return Err(FeedError::FileTooLarge {
            path: path.to_owned(),
            bytes: metadata.len(),
            most: most as u64,
        });
    }
    tokio::fs::read(path).await.map_err(failed)
}

/// Where the three columns stand.
#[derive(Debug, Clone, Copy)]
struct Columns {
    date: usize,
    min: usize,
    max: usize,
}

impl Columns {
    fn find(reader: &mut Reader<&[u8]>, feed: &TableFeed) -> Result<Self, ParseError> {
        let header = reader
            .byte_headers()
            .map_err(|source| ParseError::NotATable { source })?;
        let columns = Self {
            date: position(header, &feed.date_column)?,
            min: position(header, &feed.min_column)?,
            max: position(header, &feed.max_column)?,
        };
        match columns {
            Self { date, min, max } if date == min || min == max => Err(same(&feed.min_column)),
            Self { date, max, .. } if date == max => Err(same(&feed.max_column)),
            _ => Ok(columns),
        }
    }
}

fn same(column: &str) -> ParseError {
    ParseError::SameColumn {
        column: column.to_owned(),
    }
}

pub(super) fn position(header: &ByteRecord, column: &str) -> Result<usize, ParseError> {
    let is_it = |field: &[u8]| field.trim_ascii() == column.trim().as_bytes();
    let mut places = (0..header.len()).filter(|&place| is_it(&header[place]));
    match (places.next(), places.next()) {
        (Some(place), None) => Ok(place),
        (Some(_), Some(_)) => Err(ParseError::ColumnTwice {
            column: column.to_owned(),
        }),
        (None, _) => Err(ParseError::MissingColumn {
            column: column.to_owned(),
            found: header
                .iter()
                .take(COLUMNS_LISTED)
                .map(|field| Excerpt::of_cell(&String::from_utf8_lossy(field)))
                .collect(),
        }),
    }
}

fn gather(
    gathered: &mut Gathered,
    feed: &TableFeed,
    (format, dates): (&CellFormat, &Dates),
    columns: Columns,
    record: &ByteRecord,
) -> Result<(), ParseError> {
    let row = record.position().map_or(0, csv::Position::line);
    let written = String::from_utf8_lossy(&record[columns.date]);
    let Some(date) = date(feed, dates, row, &written)? else {
        return gathered.problem(row, None, bad_date(feed, &written));
    };
    let mut value = |name: &str, place: usize| {
        let read = format.read(name, &String::from_utf8_lossy(&record[place]));
        let number = gathered.value(row, date, read)?;
        Ok::<_, ParseError>(number.map(|number| feed.unit.value(number)))
    };
    let day = ReceivedDay {
        min: value(&feed.min_column, columns.min)?,
        max: value(&feed.max_column, columns.max)?,
        ..ReceivedDay::empty(date, feed.unit.unit())
    };
    gathered.day(row, day)
}

/// The day of a row, `None` where none is seen in it.
///
/// # Errors
/// [`ParseError::OtherDates`] where the order of month and day is another one, so that no day of the table is sure.
fn date(
    feed: &TableFeed,
    dates: &Dates,
    row: u64,
    written: &str,
) -> Result<Option<NaiveDate>, ParseError> {
    if let Some(format) = &feed.date_format {
        return Ok(format.date(written));
    }
    match dates.read(written) {
        Ok(date) => Ok(Some(date).filter(|date| YEARS.contains(&date.year()))),
        Err(BadDay::Unread) => Ok(None),
        Err(why) => Err(ParseError::OtherDates {
            row,
            column: feed.date_column.clone(),
            value: Excerpt::of_cell(written),
            why: why.to_string(),
        }),
    }
}

fn bad_date(feed: &TableFeed, value: &str) -> RowFault {
    let (column, value) = (feed.date_column.clone(), Excerpt::of_cell(value));
    match &feed.date_format {
        Some(format) => RowFault::BadDate {
            column,
            value,
            format: format.0.clone(),
        },
        None => RowFault::UnknownDate { column, value },
    }
}

/// A row with another number of fields than the header is left out: its values may have moved.
pub(super) fn uneven_row(gathered: &mut Gathered, error: csv::Error) -> Result<(), ParseError> {
    let ErrorKind::UnequalLengths {
        pos,
        expected_len,
        len,
    } = error.kind()
    else {
        return Err(ParseError::NotATable { source: error });
    };
    let row = pos.as_ref().map_or(0, csv::Position::line);
    let fault = RowFault::FieldCount {
        expected: *expected_len,
        found: *len,
    };
    gathered.problem(row, None, fault)
}

fn default_missing() -> Vec<String> {
    let markers = ["", "M", "NA", "None", "null", "-9999", "-999", "S"];
    markers.map(str::to_owned).to_vec()
}

#[cfg(test)]
#[path = "table_tests.rs"]
mod tests;
