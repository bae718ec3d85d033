//! The two forms that are CSV: long, one row a value, without a header; and wide, one row a day, with one.

use chrono::NaiveDate;
use csv::{ByteRecord, Reader, ReaderBuilder};

use duskflight_core::weather::Element;

use super::days::{ElementDays, Written, is_of, name};
use crate::feed::cell::iso_date;
use crate::feed::error::ParseError;
use crate::feed::excerpt::Excerpt;
use crate::feed::ncei::quality_flag;
use crate::feed::row_problem::RowFault;
use crate::feed::rows::FetchedDays;
use crate::feed::table::{position, uneven_row};

/// Fields of a row: station, day, element, value, measurement flag, quality flag, source, hour of reading.
const LONG: usize = 8;
const LONG_DATE: &str = "%Y%m%d";

/// Reads the long form about `station`.
pub(super) fn parse_long(file: &[u8], station: &str) -> Result<FetchedDays, ParseError> {
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(file);
    let mut days = ElementDays::default();
    let mut records = reader.byte_records().peekable();
    if let Some(Ok(first)) = records.peek() {
        is_one(first, file, station)?;
    }
    for record in records {
        let record = record.map_err(|source| ParseError::NotATable { source })?;
        value(&mut days, &record, station)?;
    }
    days.finish()
}

/// Whether a file that begins so is one of this form, and of this station.
fn is_one(first: &ByteRecord, file: &[u8], station: &str) -> Result<(), ParseError> {
    if first.len() != LONG {
        return Err(ParseError::NotAStationFile {
            form: "by-station",
            answer: Excerpt::of_answer(file),
        });
    }
    let found = String::from_utf8_lossy(&first[0]);
    is_of(station, &found)
}

/// Rows of other elements are passed over, whatever is wrong with them.
fn value(days: &mut ElementDays, record: &ByteRecord, station: &str) -> Result<(), ParseError> {
    let row = record.position().map_or(0, csv::Position::line);
    let field = |place: usize| String::from_utf8_lossy(record.get(place).unwrap_or_default());
    let Some(element) = days.element(&field(2)) else {
        return Ok(());
    };
    let text = field(1);
    let Ok(date) = NaiveDate::parse_from_str(&text, LONG_DATE) else {
        let fault = RowFault::BadDate {
            column: "day".to_owned(),
            value: Excerpt::of_cell(&text),
            format: LONG_DATE.to_owned(),
        };
        return days.gathered.problem(row, None, fault);
    };
    let fault = if field(0) != station {
        RowFault::other_station(station, &field(0))
    } else if record.len() != LONG {
        RowFault::FieldCount {
            expected: LONG as u64,
            found: record.len() as u64,
        }
    } else {
        return days.value(Written {
            row,
            date,
            element,
            text: &field(3),
            flag: &field(5),
        });
    };
    days.gathered.problem(row, Some(date), fault)
}

/// Reads the wide form about `station`.
pub(super) fn parse_wide(file: &[u8], station: &str) -> Result<FetchedDays, ParseError> {
    let mut reader = ReaderBuilder::new().from_reader(file);
    let mut days = ElementDays::default();
    let columns = WideColumns::find(&mut reader, &mut days)?;
    for record in reader.byte_records() {
        match record {
            Ok(record) => columns.gather(&mut days, &record, station)?,
            Err(error) => uneven_row(&mut days.gathered, error)?,
        }
    }
    days.finish()
}

/// Where the columns stand; without the attributes, values that failed a check would look well.
struct WideColumns {
    station: usize,
    date: usize,
    elements: [(Element, usize, usize); 2],
}

impl WideColumns {
    fn find(reader: &mut Reader<&[u8]>, days: &mut ElementDays) -> Result<Self, ParseError> {
        let header = reader
            .byte_headers()
            .map_err(|source| ParseError::NotATable { source })?;
        let of = |element: Element| {
            let name = name(element);
            let attributes = position(header, &format!("{name}_ATTRIBUTES"))?;
            Ok::<_, ParseError>((element, position(header, name)?, attributes))
        };
        let [min, max] = Element::ALL;
        for element in Element::ALL {
            days.element(name(element));
        }
        Ok(Self {
            station: position(header, "STATION")?,
            date: position(header, "DATE")?,
            elements: [of(min)?, of(max)?],
        })
    }

    fn gather(
        &self,
        days: &mut ElementDays,
        record: &ByteRecord,
        station: &str,
    ) -> Result<(), ParseError> {
        let row = record.position().map_or(0, csv::Position::line);
        let field = |place: usize| String::from_utf8_lossy(&record[place]);
        let date = match iso_date("DATE", &field(self.date)) {
            Ok(date) => date,
            Err(fault) => return days.gathered.problem(row, None, fault),
        };
        let found = field(self.station);
        if found.trim() != station {
            let fault = RowFault::other_station(station, &found);
            return days.gathered.problem(row, Some(date), fault);
        }
        for (element, value, attributes) in self.elements {
            let flag = quality_flag(Some(&field(attributes)));
            days.value(Written {
                row,
                date,
                element,
                text: &field(value),
                flag: flag.as_deref().unwrap_or_default(),
            })?;
        }
        Ok(())
    }
}
