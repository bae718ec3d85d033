//! The file of `duskflight heat`: read whole, checked whole, every problem named by its place.

use std::fmt;
use std::fs::File;
use std::io;
use std::path::Path;

use chrono::{Days, NaiveDate};
use csv::StringRecord;
use duskflight_core::temperature::{Extremes, Temperature, Unit};
use duskflight_core::weather::is_plausible;

use crate::plain_file;

const DATE: &str = "date";
const TMIN: &str = "tmin";
const TMAX: &str = "tmax";

/// One day of the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct InputDay {
    pub(super) date: NaiveDate,
    /// Minimum and maximum as numbers of the file's unit.
    pub(super) tmin: f64,
    pub(super) tmax: f64,
    /// The same as temperatures.
    pub(super) extremes: Extremes,
}

/// A file that cannot be used.
#[derive(Debug, thiserror::Error)]
pub(super) enum InputError {
    #[error("cannot read {file} (give a CSV file in UTF-8, or - for standard input)")]
    Read { file: String, source: io::Error },
    #[error("cannot read {file} as CSV")]
    Csv { file: String, source: csv::Error },
    #[error("{file}, row 1: there is no column {column:?}; the columns are date,tmin,tmax")]
    NoColumn { file: String, column: &'static str },
    #[error(
        "{file}, row 1: the column {column:?} is unknown or there twice; \
         the columns are date,tmin,tmax"
    )]
    UnknownColumn { file: String, column: String },
    #[error("{file}, row {row}: {found} values for 3 columns; use a decimal point, not a comma")]
    TooManyValues {
        file: String,
        row: usize,
        found: usize,
    },
    #[error("{file}, row {row}, column {column}: {problem}")]
    Value {
        file: String,
        row: usize,
        column: &'static str,
        problem: Problem,
    },
    #[error("{file} has no days; give at least one row of date,tmin,tmax")]
    NoDays { file: String },
}

/// What is wrong with one value.
#[derive(Debug, PartialEq, thiserror::Error)]
pub(super) enum Problem {
    #[error("the value is missing; fill it in, or take the day out of the file")]
    Missing,
    #[error("{0:?} is not a date; write it as 2022-04-15")]
    NotADate(String),
    #[error("{0:?} is not a temperature; write it as a number such as 61.5")]
    NotATemperature(String),
    #[error(
        "{value:?} stands for a value that is missing; fill it in, or take the day out of the file"
    )]
    MarkForMissing { value: String },
    #[error(
        "no thermometer in the region has shown {value} {symbol}; correct it, \
         or say with --unit what the file is in"
    )]
    NotPlausible { value: String, symbol: &'static str },
    #[error("the minimum {tmin} is above the maximum {tmax}; correct one of them")]
    MinAboveMax { tmin: f64, tmax: f64 },
    #[error("{date} does not come after {before}; give each day once, oldest first")]
    NotAfter { date: NaiveDate, before: NaiveDate },
}

/// Reads a file, or standard input when the path is `-`; the days come out strictly rising.
///
/// # Errors
/// The first problem met, with its place and what to do.
pub(super) fn read(path: &Path, unit: Unit) -> Result<Vec<InputDay>, InputError> {
    let from_stdin = path.as_os_str() == "-";
    let file = if from_stdin {
        "standard input".to_owned()
    } else {
        path.display().to_string()
    };
    let text = if from_stdin {
        plain_file::read_given(io::stdin().lock(), plain_file::GIVEN)
    } else {
        File::open(path).and_then(|file| plain_file::read_given(file, plain_file::GIVEN))
    };
    match text {
        Ok(text) => parse(&text, &file, unit),
        Err(source) => Err(InputError::Read { file, source }),
    }
}

/// Reads the text of a file; `file` is its name in errors.
///
/// # Errors
/// As [`read`].
pub(super) fn parse(text: &str, file: &str, unit: Unit) -> Result<Vec<InputDay>, InputError> {
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let csv_error = |source| InputError::Csv {
        file: file.to_owned(),
        source,
    };
    let columns = Columns::find(reader.headers().map_err(csv_error)?, file)?;
    let mut days: Vec<InputDay> = Vec::new();
    let mut rows = RowNumbers::of(text);
    let mut record = StringRecord::new();
    while reader.read_record(&mut record).map_err(csv_error)? {
        let row = Row {
            file,
            number: rows.next(&record),
            record: &record,
        };
        let day = row.day(&columns, unit)?;
        if let Some(before) = days.last().map(|day| day.date).filter(|&d| d >= day.date) {
            let date = day.date;
            return Err(row.problem(DATE, Problem::NotAfter { date, before }));
        }
        days.push(day);
    }
    if days.is_empty() {
        let file = file.to_owned();
        return Err(InputError::NoDays { file });
    }
    Ok(days)
}

/// Where the three columns are.
struct Columns {
    date: usize,
    tmin: usize,
    tmax: usize,
}

impl Columns {
    fn find(headers: &StringRecord, file: &str) -> Result<Self, InputError> {
        let position = |column: &'static str| {
            let found = headers.iter().position(|header| header == column);
            found.ok_or_else(|| InputError::NoColumn {
                file: file.to_owned(),
                column,
            })
        };
        let columns = Self {
            date: position(DATE)?,
            tmin: position(TMIN)?,
            tmax: position(TMAX)?,
        };
        let known = [columns.date, columns.tmin, columns.tmax];
        match (0..headers.len()).find(|at| !known.contains(at)) {
            Some(at) => Err(InputError::UnknownColumn {
                file: file.to_owned(),
                column: headers[at].to_owned(),
            }),
            None => Ok(columns),
        }
    }
}

/// One row and its place, for errors.
struct Row<'a> {
    file: &'a str,
    number: usize,
    record: &'a StringRecord,
}

impl Row<'_> {
    fn day(&self, columns: &Columns, unit: Unit) -> Result<InputDay, InputError> {
        if self.record.len() > 3 {
            return Err(InputError::TooManyValues {
                file: self.file.to_owned(),
                row: self.number,
                found: self.record.len(),
            });
        }
        let date = self.date(columns.date)?;
        let (tmin, min) = self.temperature(columns.tmin, TMIN, unit)?;
        let (tmax, max) = self.temperature(columns.tmax, TMAX, unit)?;
        let extremes = Extremes::new(min, max)
            .ok_or_else(|| self.problem(TMIN, Problem::MinAboveMax { tmin, tmax }))?;
        Ok(InputDay {
            date,
            tmin,
            tmax,
            extremes,
        })
    }

    fn date(&self, at: usize) -> Result<NaiveDate, InputError> {
        let text = self.value(at, DATE)?;
        NaiveDate::parse_from_str(text, "%Y-%m-%d")
            .map_err(|_| self.problem(DATE, Problem::NotADate(text.to_owned())))
    }

    /// The number in the file's unit, and the temperature it stands for.
    fn temperature(
        &self,
        at: usize,
        column: &'static str,
        unit: Unit,
    ) -> Result<(f64, Temperature), InputError> {
        let text = self.value(at, column)?;
        let number: Option<f64> = text.parse().ok().filter(|number: &f64| number.is_finite());
        let number = number
            .ok_or_else(|| self.problem(column, Problem::NotATemperature(text.to_owned())))?;
        match Temperature::new(number, unit).filter(|read| is_plausible(*read)) {
            Some(temperature) => Ok((number, temperature)),
            None => Err(self.problem(column, not_plausible(text, unit))),
        }
    }

    fn value(&self, at: usize, column: &'static str) -> Result<&str, InputError> {
        let value = self.record.get(at).filter(|text| !text.is_empty());
        value.ok_or_else(|| self.problem(column, Problem::Missing))
    }

    fn problem(&self, column: &'static str, problem: Problem) -> InputError {
        InputError::Value {
            file: self.file.to_owned(),
            row: self.number,
            column,
            problem,
        }
    }
}

/// What cannot be a temperature; records fill days that are missing with nines.
fn not_plausible(text: &str, unit: Unit) -> Problem {
    let digits = text.trim_start_matches('-').trim_end_matches(['0', '.']);
    let value = text.to_owned();
    if digits.chars().all(|digit| matches!(digit, '9' | '.')) {
        Problem::MarkForMissing { value }
    } else {
        let symbol = unit.symbol();
        Problem::NotPlausible { value, symbol }
    }
}

/// Counts rows as a spreadsheet does, the header being row 1, once through the text.
struct RowNumbers<'a> {
    text: &'a str,
    /// How far it has counted, and how many ends of lines it met.
    at: usize,
    ends: usize,
}

impl<'a> RowNumbers<'a> {
    const fn of(text: &'a str) -> Self {
        Self {
            text,
            at: 0,
            ends: 0,
        }
    }

    /// The number of the row read next. The position that the reader gives lies before any empty lines it
    /// skipped.
    fn next(&mut self, record: &StringRecord) -> usize {
        let position = record
            .position()
            .expect("a record that was read has a place");
        let before = usize::try_from(position.byte()).expect("the text is in memory");
        let rest = &self.text[before..];
        let begins = before + rest.len() - rest.trim_start().len();
        let passed = &self.text.as_bytes()[self.at..begins];
        self.ends += passed.iter().filter(|byte| **byte == b'\n').count();
        self.at = begins;
        1 + self.ends
    }
}

/// Calendar days between two rows of the file.
#[derive(Debug, PartialEq)]
pub(super) struct Gap {
    first: NaiveDate,
    last: NaiveDate,
}

impl fmt::Display for Gap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { first, last } = self;
        match (*last - *first).num_days() + 1 {
            1 => write!(
                f,
                "there is no row for {first}; the total leaves that day out"
            ),
            days => write!(
                f,
                "there are no rows for {first} to {last}; the total leaves these {days} days out"
            ),
        }
    }
}

/// The gaps between the days of a file, oldest first.
pub(super) fn gaps(days: &[InputDay]) -> impl Iterator<Item = Gap> {
    days.windows(2).filter_map(|pair| {
        let gap = Gap {
            first: pair[0].date.checked_add_days(Days::new(1))?,
            last: pair[1].date.checked_sub_days(Days::new(1))?,
        };
        (gap.first <= gap.last).then_some(gap)
    })
}
