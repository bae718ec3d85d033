//! Rows of an import file, field by field.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;

use crate::config::nearest::suggestion;
use crate::store::StoreError;

/// One thing wrong in an import file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowError {
    /// Row as a spreadsheet numbers it: 1 is the header.
    pub row: usize,
    /// The column, where one is at fault.
    pub column: Option<&'static str>,
    /// What stands there.
    pub value: String,
    /// What is wrong and what to do.
    pub reason: String,
}

impl fmt::Display for RowError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.row {
            1 => f.write_str("row 1 (the header)")?,
            row => write!(f, "row {row}")?,
        }
        if let Some(column) = self.column {
            write!(f, ", column {column}, {:?}", self.value)?;
        }
        write!(f, ": {}", self.reason)
    }
}

/// Why a file was not imported.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// Rows are wrong; nothing was stored.
    #[error("import {file}; nothing of it was stored:{}", list(problems))]
    Rows {
        /// The file.
        file: String,
        /// Everything that is wrong.
        problems: Vec<RowError>,
    },
    /// The records cannot be written.
    #[error("store the rows")]
    Store(#[source] StoreError),
}

fn list(problems: &[RowError]) -> String {
    problems.iter().map(|p| format!("\n  {p}")).collect()
}

/// One row, its fields by column name.
pub(super) struct Row<'a> {
    number: usize,
    fields: &'a BTreeMap<&'static str, String>,
}

/// A field that does not fit.
pub(super) type Wrong = RowError;

impl Row<'_> {
    /// A field's text; empty when it was not given.
    pub(super) fn text(&self, column: &'static str) -> &str {
        self.fields.get(column).map_or("", String::as_str)
    }

    pub(super) fn wrong(&self, column: &'static str, reason: impl fmt::Display) -> Wrong {
        RowError {
            row: self.number,
            column: Some(column),
            value: self.text(column).to_owned(),
            reason: reason.to_string(),
        }
    }

    /// A civil day.
    pub(super) fn day(&self, column: &'static str) -> Result<NaiveDate, Wrong> {
        let text = self.text(column);
        text.parse()
            .map_err(|_| self.wrong(column, "write a day as YYYY-MM-DD"))
    }

    /// A count; `None` when it was not given.
    pub(super) fn count(&self, column: &'static str) -> Result<Option<u32>, Wrong> {
        match self.text(column) {
            "" => Ok(None),
            text => text
                .parse()
                .map(Some)
                .map_err(|_| self.wrong(column, "write a whole number, or leave it empty")),
        }
    }
}

/// Reads a CSV text with exactly the given columns, in any order, and builds a record from each
/// row. All errors of all rows are returned together.
pub(super) fn build_all<T>(
    text: &str,
    columns: &[&'static str],
    needed: &[&'static str],
    mut build: impl FnMut(&Row<'_>) -> Result<T, Vec<Wrong>>,
) -> Result<Vec<T>, Vec<RowError>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let header = header(&mut reader, columns, needed)?;
    let mut built = Vec::new();
    let mut problems = Vec::new();
    for (place, record) in reader.records().enumerate() {
        let number = place + 2;
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                problems.push(whole_row(number, &error));
                continue;
            }
        };
        let texts = record.iter().map(str::to_owned);
        let fields: BTreeMap<&'static str, String> = header.iter().copied().zip(texts).collect();
        let row = Row {
            number,
            fields: &fields,
        };
        match build(&row) {
            Ok(record) => built.push(record),
            Err(wrong) => problems.extend(wrong),
        }
    }
    if problems.is_empty() {
        Ok(built)
    } else {
        Err(problems)
    }
}

fn header(
    reader: &mut csv::Reader<&[u8]>,
    columns: &[&'static str],
    needed: &[&'static str],
) -> Result<Vec<&'static str>, Vec<RowError>> {
    let found = reader
        .headers()
        .map_err(|error| vec![whole_row(1, &error)])?;
    let mut header = Vec::new();
    let mut problems = Vec::new();
    if found.len() == 1 && found.iter().any(|name| name.contains([';', '\t'])) {
        let what = "the columns are not separated by commas; save the file as CSV with commas";
        return Err(vec![of_header(what.to_owned())]);
    }
    for name in found {
        match columns
            .iter()
            .find(|column| column.eq_ignore_ascii_case(name))
        {
            Some(column) if header.contains(column) => {
                problems.push(of_header(format!("the column {name} stands twice")));
            }
            Some(column) => header.push(*column),
            None => problems.push(of_header(format!(
                "unknown column {name:?}{}; the columns are {}",
                suggestion(name, columns.iter().copied()),
                columns.join(", ")
            ))),
        }
    }
    for column in needed.iter().filter(|column| !header.contains(column)) {
        problems.push(of_header(format!("the column {column} is missing")));
    }
    if problems.is_empty() {
        Ok(header)
    } else {
        Err(problems)
    }
}

fn of_header(reason: String) -> RowError {
    RowError {
        row: 1,
        column: None,
        value: String::new(),
        reason,
    }
}

fn whole_row(row: usize, error: &csv::Error) -> RowError {
    let reason = match error.kind() {
        csv::ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => format!("it has {len} fields, the header has {expected_len}"),
        _ => error.to_string(),
    };
    RowError {
        row,
        ..of_header(reason)
    }
}
