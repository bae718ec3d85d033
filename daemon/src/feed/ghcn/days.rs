//! Values of single elements, put together to days.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{Element, ReceivedDay};

use crate::feed::error::ParseError;
use crate::feed::excerpt::Excerpt;
use crate::feed::row_problem::RowFault;
use crate::feed::rows::{FetchedDays, Gathered};

/// How the archive writes that there is no value.
const MISSING: &str = "-9999";
/// No air on earth is so hot or cold, in tenths of a degree: 9999 is how other archives write that there is no value.
const BEYOND: u16 = 1000;
/// How many other elements an error lists.
const ELEMENTS_LISTED: usize = 30;

/// The names of the elements that are read.
pub(super) const fn name(element: Element) -> &'static str {
    match element {
        Element::Min => "TMIN",
        Element::Max => "TMAX",
    }
}

/// A file that begins with another station is not the one that was asked for.
///
/// # Errors
/// [`ParseError::OtherStation`].
pub(super) fn is_of(station: &str, found: &str) -> Result<(), ParseError> {
    match found == station {
        true => Ok(()),
        false => Err(ParseError::OtherStation {
            expected: station.to_owned(),
            found: vec![Excerpt::of_cell(found)],
        }),
    }
}

/// One value as it stands in a file.
#[derive(Debug, Clone, Copy)]
pub(super) struct Written<'a> {
    pub(super) row: u64,
    pub(super) date: NaiveDate,
    pub(super) element: Element,
    pub(super) text: &'a str,
    pub(super) flag: &'a str,
}

/// A value, its flag, and the row it stands in; no value where rows say different things.
type Value = (Option<f64>, Option<String>, u64);

/// The values of one station, by day and element.
#[derive(Debug, Default)]
pub(super) struct ElementDays {
    values: BTreeMap<(NaiveDate, Element), Value>,
    /// Elements that the file has, with a value or without.
    found: BTreeSet<String>,
    pub(super) gathered: Gathered,
}

impl ElementDays {
    /// Notes that the file has this element; gives it where it is read.
    pub(super) fn element(&mut self, name: &str) -> Option<Element> {
        let mut read = Element::ALL.into_iter();
        let element = read.find(|element| self::name(*element) == name);
        let is_listed = element.is_some() || self.found.len() < ELEMENTS_LISTED;
        if is_listed && !self.found.contains(name) {
            self.found.insert(name.to_owned());
        }
        element
    }

    /// Takes a value. Where two of one day and element differ, neither counts.
    ///
    /// # Errors
    /// [`ParseError::TooManyProblems`].
    pub(super) fn value(&mut self, written: Written<'_>) -> Result<(), ParseError> {
        let Written {
            row, date, element, ..
        } = written;
        let value = match tenths(element, written.text) {
            Ok(None) => return Ok(()),
            Ok(value) => value,
            Err(fault) => return self.gathered.problem(row, Some(date), fault),
        };
        let flag = Some(written.flag.trim()).filter(|flag| !flag.is_empty());
        let value = (value, flag.map(str::to_owned), row);
        let Some((known, _, earlier)) = self.values.get_mut(&(date, element)) else {
            self.values.insert((date, element), value);
            return Ok(());
        };
        *known = known.filter(|known| Some(*known) == value.0);
        let fault = RowFault::DateTwice { earlier: *earlier };
        self.gathered.problem(row, Some(date), fault)
    }

    /// The days that have a value.
    ///
    /// # Errors
    /// [`ParseError::MissingField`] when the file has no such element: the station reads no temperatures, or it was renamed.
    pub(super) fn finish(mut self) -> Result<FetchedDays, ParseError> {
        let lacks = |element: &&Element| !self.found.contains(name(**element));
        if let Some(element) = Element::ALL.iter().find(lacks) {
            return Err(ParseError::MissingField {
                field: name(*element),
                found: self
                    .found
                    .iter()
                    .map(|name| Excerpt::of_cell(name))
                    .collect(),
            });
        }
        let mut days: BTreeMap<NaiveDate, (u64, ReceivedDay)> = BTreeMap::new();
        for ((date, element), (value, flag, row)) in self.values {
            let Some(value) = value else { continue };
            let (_, day) = days
                .entry(date)
                .or_insert_with(|| (row, ReceivedDay::empty(date, Unit::Celsius)));
            match element {
                Element::Min => (day.min, day.min_flag) = (Some(value), flag),
                Element::Max => (day.max, day.max_flag) = (Some(value), flag),
            }
        }
        for (row, day) in days.into_values() {
            self.gathered.day(row, day)?;
        }
        Ok(self.gathered.finish())
    }
}

/// The archive writes whole tenths of a degree, three digits at most; anything else is of another unit or no value.
fn tenths(element: Element, text: &str) -> Result<Option<f64>, RowFault> {
    let text = text.trim();
    if text.is_empty() || text == MISSING {
        return Ok(None);
    }
    match text.parse::<i16>() {
        Ok(tenths) if tenths.unsigned_abs() < BEYOND => Ok(Some(f64::from(tenths) / 10.0)),
        _ => Err(RowFault::NotATemperature {
            column: name(element).to_owned(),
            value: Excerpt::of_cell(text),
        }),
    }
}
