//! The form `.dly`: one line a station, month and element, each value in its place.

use chrono::{Datelike, NaiveDate};

use super::days::{ElementDays, Written, is_of};
use crate::feed::error::ParseError;
use crate::feed::excerpt::Excerpt;
use crate::feed::row_problem::RowFault;
use crate::feed::rows::FetchedDays;

/// Where the first day stands.
const HEAD: usize = 21;
/// A value and its three flags.
const GROUP: usize = 8;
/// The value alone.
const VALUE: usize = 5;
/// The whole line: 31 days, whatever the month.
const LINE: usize = HEAD + 31 * GROUP;

/// Reads a `.dly` file about `station`.
pub(super) fn parse(file: &[u8], station: &str) -> Result<FetchedDays, ParseError> {
    let text = String::from_utf8_lossy(file);
    let first = text.lines().find(|line| !line.trim().is_empty());
    let Some(head) = first.and_then(Head::of) else {
        return Err(ParseError::NotAStationFile {
            form: "dly",
            answer: Excerpt::of_answer(file),
        });
    };
    is_of(station, head.station)?;
    let mut days = ElementDays::default();
    for (line, number) in text.lines().zip(1..) {
        let line = line.trim_end();
        if !line.is_empty() {
            month(&mut days, number, line, station)?;
        }
    }
    days.finish()
}

/// What a line begins with.
#[derive(Debug)]
struct Head<'a> {
    station: &'a str,
    first: NaiveDate,
    element: &'a str,
}

impl<'a> Head<'a> {
    /// Whoever strips the blanks at a line's end leaves its head.
    fn of(line: &'a str) -> Option<Self> {
        let digits = |text: &str| {
            let are = text.bytes().all(|byte| byte.is_ascii_digit());
            are.then(|| text.parse::<u16>().ok()).flatten()
        };
        let (year, month) = (digits(line.get(11..15)?)?, digits(line.get(15..17)?)?);
        Some(Self {
            station: line.get(..11)?,
            first: NaiveDate::from_ymd_opt(year.into(), month.into(), 1)?,
            element: line.get(17..HEAD)?,
        })
    }
}

fn month(days: &mut ElementDays, row: u64, line: &str, station: &str) -> Result<(), ParseError> {
    let is_whole = line.is_ascii() && line.len() <= LINE;
    let Some(head) = Head::of(line).filter(|_| is_whole) else {
        let fault = RowFault::NotItsForm {
            value: Excerpt::of_cell(line),
        };
        return days.gathered.problem(row, None, fault);
    };
    if head.station != station {
        let fault = RowFault::other_station(station, head.station);
        return days.gathered.problem(row, Some(head.first), fault);
    }
    let Some(element) = days.element(head.element) else {
        return Ok(());
    };
    let groups = line.as_bytes()[HEAD..].chunks(GROUP);
    for (group, day) in groups.zip(1..) {
        // The whole line is ASCII, so each part of it is text.
        let group = std::str::from_utf8(group).unwrap_or_default();
        let text = group.get(..VALUE).unwrap_or(CUT);
        match head.first.with_day(day) {
            Some(date) => days.value(Written {
                row,
                date,
                element,
                text,
                flag: group.get(6..7).unwrap_or_default(),
            })?,
            // What lies past the month's end is -9999; a value there says that the line has slipped.
            None if text.trim() == "-9999" || text.trim().is_empty() => {}
            None => {
                let fault = RowFault::NoSuchDay { day };
                days.gathered.problem(row, Some(head.first), fault)?;
            }
        }
    }
    Ok(())
}

/// Stands for a value that broke off: its last digit stands at its right end, so stripped blanks never cut one.
const CUT: &str = "cut off";
