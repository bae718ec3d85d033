//! CSV sheets that people fill in and that are written for them: named columns in any order, every fault
//! of every row told at once with row, column and value.

use std::fmt;

use chrono::NaiveDate;
use serde::de::value::{Error as ValueError, StrDeserializer};
use serde::de::{DeserializeOwned, IntoDeserializer};

use crate::nearest::{nearest, suggestion};
use crate::one_line::shortened;

/// One thing wrong in a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Row as a spreadsheet numbers it: 1 is the header.
    pub row: usize,
    /// The column, where one is at fault.
    pub column: Option<&'static str>,
    /// What stands there.
    pub value: String,
    /// What is wrong and what to do.
    pub reason: String,
    /// Whether it may be right after all, and is taken from whoever is sure.
    pub doubted: bool,
}

impl Fault {
    /// A fault of a whole row.
    pub(crate) fn of_row(row: usize, reason: String) -> Self {
        Self {
            row,
            column: None,
            value: String::new(),
            reason,
            doubted: false,
        }
    }

    /// The fault without its row.
    #[must_use]
    pub fn what(&self) -> String {
        match self.column {
            Some(column) => {
                let value = shortened(&self.value, LONGEST_SHOWN);
                format!("column {column}, {value:?}: {}", self.reason)
            }
            None => self.reason.clone(),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.row, self.column) {
            (1, _) => write!(f, "row 1 (the header): {}", self.what()),
            (row, Some(_)) => write!(f, "row {row}, {}", self.what()),
            (row, None) => write!(f, "row {row}: {}", self.what()),
        }
    }
}

/// More was not counted at one place on one day: a slip of the keys, which sums would carry on for years.
const MOST_COUNTED: u32 = 100_000;
/// A longer value is shown by its beginning: its fault would be lost behind it.
const LONGEST_SHOWN: usize = 40;
/// Longest cell, in bytes: a remark of a page. Tables, mails and every night read it.
const LONGEST_CELL: usize = 2_000;
/// So many rows are the readings of many farms over many years, and more than anybody fills in.
const MOST_ROWS: usize = 1_000_000;

/// The columns of a sheet: all of them, and those that must be there.
pub(crate) struct Columns {
    pub(crate) all: &'static [&'static str],
    pub(crate) needed: &'static [&'static str],
}

/// What was read: the rows that are right, and everything that is wrong. A sheet with faults must
/// not be used.
pub(crate) struct Sheet<T> {
    pub(crate) rows: Vec<T>,
    pub(crate) faults: Vec<Fault>,
}

impl<T> Sheet<T> {
    /// The same of other rows.
    pub(crate) fn map<U>(self, row: impl FnMut(T) -> U) -> Sheet<U> {
        Sheet {
            rows: self.rows.into_iter().map(row).collect(),
            faults: self.faults,
        }
    }
}

/// One row, its fields by column name.
pub(crate) struct Row<'a> {
    number: usize,
    header: &'a [&'static str],
    record: &'a csv::StringRecord,
}

impl Row<'_> {
    /// Row as a spreadsheet numbers it.
    pub(crate) const fn number(&self) -> usize {
        self.number
    }

    /// A field's text; empty when it was not given.
    pub(crate) fn text(&self, column: &'static str) -> &str {
        let place = self.header.iter().position(|name| *name == column);
        place
            .and_then(|place| self.record.get(place))
            .unwrap_or_default()
    }

    /// A fault of a field.
    pub(crate) fn wrong(&self, column: &'static str, reason: impl fmt::Display) -> Fault {
        Fault {
            row: self.number,
            column: Some(column),
            value: self.text(column).to_owned(),
            reason: reason.to_string(),
            doubted: false,
        }
    }

    /// What is asked about in a field and may be right after all.
    pub(crate) fn doubt(&self, column: &'static str, reason: impl fmt::Display) -> Fault {
        Fault {
            doubted: true,
            ..self.wrong(column, format!("{reason}; if it is right, --sure takes it"))
        }
    }

    /// A cell that is longer than any may be.
    fn too_long(&self) -> Option<Fault> {
        let columns = self.header.iter().zip(self.record);
        let (column, cell) = columns
            .into_iter()
            .find(|(_, cell)| cell.len() > LONGEST_CELL)?;
        let length = cell.len();
        let why = format!("it has {length} bytes; a cell has room for {LONGEST_CELL}: shorten it");
        Some(self.wrong(column, why))
    }

    /// A civil day.
    pub(crate) fn day(&self, column: &'static str) -> Result<NaiveDate, Fault> {
        let text = self.text(column);
        text.parse()
            .map_err(|_| self.wrong(column, "write a day as YYYY-MM-DD"))
    }

    /// Civil days with blanks between them.
    pub(crate) fn days(&self, column: &'static str) -> Result<Vec<NaiveDate>, Fault> {
        let days = self.text(column).split_whitespace().map(str::parse);
        days.collect::<Result<_, _>>()
            .map_err(|_| self.wrong(column, "write days as YYYY-MM-DD, with blanks between them"))
    }

    /// A count; `None` when it was not given.
    pub(crate) fn count(&self, column: &'static str) -> Result<Option<u32>, Fault> {
        self.given(column, |text| match text.parse() {
            Ok(count) if count <= MOST_COUNTED => Ok(count),
            Ok(_) => {
                let why = format!(
                    "more than {MOST_COUNTED}, which nobody counts; write what was counted"
                );
                Err(self.wrong(column, why))
            }
            Err(_) => Err(self.wrong(column, "write a whole number, or leave it empty")),
        })
    }

    /// A number from zero up to a limit; `None` when it was not given.
    pub(crate) fn number_up_to(
        &self,
        column: &'static str,
        most: f64,
        wanted: &str,
    ) -> Result<Option<f64>, Fault> {
        self.given(column, |text| {
            let number = text.parse().ok().filter(|n| (0.0..=most).contains(n));
            // A sum with zero has no sign where it is zero.
            number
                .map(|number: f64| number + 0.0)
                .ok_or_else(|| self.wrong(column, wanted))
        })
    }

    /// `yes` or `no`; `None` when it was not given.
    pub(crate) fn yes_or_no(&self, column: &'static str) -> Result<Option<bool>, Fault> {
        self.given(column, |text| match text {
            "yes" => Ok(true),
            "no" => Ok(false),
            _ => Err(self.wrong(column, "write yes or no, or leave it empty")),
        })
    }

    /// An id or one of a set of words.
    pub(crate) fn word<T: DeserializeOwned>(&self, column: &'static str) -> Result<T, Fault> {
        self.parsed(column, self.text(column))
    }

    /// Any number of a set of words, with blanks between them.
    pub(crate) fn words<T: DeserializeOwned>(&self, column: &'static str) -> Result<Vec<T>, Fault> {
        let words = self.text(column).split_whitespace();
        words.map(|word| self.parsed(column, word)).collect()
    }

    fn parsed<T: DeserializeOwned>(&self, column: &'static str, text: &str) -> Result<T, Fault> {
        let text: StrDeserializer<'_, ValueError> = text.into_deserializer();
        T::deserialize(text).map_err(|error| {
            let message = error.to_string();
            let mut quoted = message.split('`').skip(1).step_by(2);
            let near = quoted.next().map(|word| suggestion(word, quoted));
            self.wrong(column, format!("{message}{}", near.unwrap_or_default()))
        })
    }

    /// A field that may be left empty.
    pub(crate) fn given<T>(
        &self,
        column: &'static str,
        read: impl FnOnce(&str) -> Result<T, Fault>,
    ) -> Result<Option<T>, Fault> {
        match self.text(column) {
            "" => Ok(None),
            text => read(text).map(Some),
        }
    }
}

/// Keeps what is right of a result and notes what is wrong.
pub(crate) fn keep<T>(faults: &mut Vec<Fault>, result: Result<T, Fault>) -> Option<T> {
    result.map_err(|fault| faults.push(fault)).ok()
}

/// Reads a sheet and builds a record from each row.
pub(crate) fn read<T>(
    text: &str,
    columns: &Columns,
    mut build: impl FnMut(&Row<'_>) -> Result<T, Vec<Fault>>,
) -> Sheet<T> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let (header, faults) = match reader.headers() {
        Ok(found) => columns.check(found),
        Err(error) => (None, vec![Fault::of_row(1, error.to_string())]),
    };
    let mut sheet = Sheet {
        rows: Vec::new(),
        faults,
    };
    let Some(header) = header else {
        return sheet;
    };
    // One record for all rows: a sheet may have many thousands.
    let mut record = csv::StringRecord::new();
    for number in 2.. {
        let built = match reader.read_record(&mut record) {
            Ok(false) => break,
            Ok(true) if number > MOST_ROWS + 1 => {
                let why = format!("a sheet has {MOST_ROWS} rows at most; split it into several");
                sheet.faults.push(Fault::of_row(number, why));
                break;
            }
            // A spreadsheet writes rows that were cleared as commas alone.
            Ok(true) if record.iter().all(str::is_empty) => continue,
            Ok(true) => {
                let row = Row {
                    number,
                    header: &header,
                    record: &record,
                };
                row.too_long()
                    .map_or_else(|| build(&row), |fault| Err(vec![fault]))
            }
            Err(error) => Err(vec![unequal(number, &error)]),
        };
        match built {
            Ok(row) => sheet.rows.push(row),
            Err(wrong) => sheet.faults.extend(wrong),
        }
    }
    sheet
}

/// A sheet of these columns and rows as text; a cell with a comma in it stays one. Every row is as long
/// as the header.
pub(crate) fn csv_text<H, R>(header: H, rows: impl IntoIterator<Item = R>) -> String
where
    H: IntoIterator<Item: AsRef<[u8]>>,
    R: IntoIterator<Item: AsRef<[u8]>>,
{
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing rows of equal length to memory cannot fail, and every caller's cells are text.
    writer.write_record(header).expect("the header is written");
    for row in rows {
        writer.write_record(row).expect("a row is written");
    }
    let bytes = writer.into_inner().expect("the rows are flushed");
    String::from_utf8(bytes).expect("CSV of UTF-8 is UTF-8")
}

impl Columns {
    /// The header as it was probably meant, with everything that is wrong in it; `None` when rows
    /// cannot be read by it. Capitals do not matter.
    fn check(&self, found: &csv::StringRecord) -> (Option<Vec<&'static str>>, Vec<Fault>) {
        if found.len() == 1 && found.iter().any(|name| name.contains([';', '\t'])) {
            let what = "the columns are not separated by commas; save the sheet as CSV with commas";
            return (None, vec![Fault::of_row(1, what.to_owned())]);
        }
        let column = |name: &str| {
            self.all
                .iter()
                .find(|c| c.eq_ignore_ascii_case(name))
                .copied()
        };
        let present: Vec<&str> = found.iter().filter_map(column).collect();
        let mut faults = Vec::new();
        let mut header: Vec<&'static str> = Vec::new();
        let mut readable = true;
        for name in found {
            let absent = self.all.iter().copied().filter(|c| !present.contains(c));
            let meant = match column(name) {
                Some(column) => Some(column),
                None => {
                    let near = nearest(name, absent);
                    let did = near.map_or_else(
                        || format!("the columns are {}", self.all.join(", ")),
                        |near| format!("did you mean {near:?}?"),
                    );
                    faults.push(Fault::of_row(1, format!("unknown column {name:?}; {did}")));
                    self.all.iter().copied().find(|c| Some(*c) == near)
                }
            };
            match meant {
                Some(column) if !header.contains(&column) => header.push(column),
                Some(column) => {
                    readable = false;
                    faults.push(Fault::of_row(
                        1,
                        format!("the column {column} stands twice"),
                    ));
                }
                None => readable = false,
            }
        }
        for column in self.needed.iter().filter(|column| !header.contains(column)) {
            readable = false;
            faults.push(Fault::of_row(1, format!("the column {column} is missing")));
        }
        (readable.then_some(header), faults)
    }
}

fn unequal(row: usize, error: &csv::Error) -> Fault {
    let reason = match error.kind() {
        csv::ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => format!("it has {len} fields, the header has {expected_len}"),
        _ => error.to_string(),
    };
    Fault::of_row(row, reason)
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: Columns = Columns {
        all: &["date", "trap", "eggs"],
        needed: &["date", "trap"],
    };

    fn faults(text: &str) -> Vec<String> {
        let sheet = read(text, &COLUMNS, |row| {
            let mut faults = Vec::new();
            keep(&mut faults, row.day("date"));
            keep(&mut faults, row.count("eggs"));
            if faults.is_empty() {
                Ok(())
            } else {
                Err(faults)
            }
        });
        sheet.faults.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn every_fault_of_every_row_is_told() {
        let told =
            faults("Date,TRAP,eggs\n2022-13-01,E1,many\n2022-04-01,E1\n2022-04-01,E1,100001\n");
        assert_eq!(
            told,
            [
                "row 2, column date, \"2022-13-01\": write a day as YYYY-MM-DD",
                "row 2, column eggs, \"many\": write a whole number, or leave it empty",
                "row 3: it has 2 fields, the header has 3",
                "row 4, column eggs, \"100001\": more than 100000, which nobody counts; write what was counted",
            ]
        );
    }

    #[test]
    fn a_cell_without_end_and_a_sheet_without_end_are_refused_where_they_pass_the_ceiling() {
        let most = "x".repeat(LONGEST_CELL);
        let named = |trap: &str| faults(&format!("date,trap,eggs\n2022-04-01,{trap},1\n"));
        assert_eq!(named(&most), [""; 0]);
        let told = named(&(most + "x"));
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0].starts_with("row 2, column trap"), "{told:?}");
        assert!(
            told[0].contains("it has 2001 bytes; a cell has room for 2000"),
            "{told:?}"
        );

        let sheet = |rows| format!("date,trap\n{}", "2022-04-01,e\n".repeat(rows));
        assert_eq!(faults(&sheet(MOST_ROWS)), [""; 0]);
        let told = faults(&sheet(MOST_ROWS + 1));
        let expected = "row 1000002: a sheet has 1000000 rows at most; split it into several";
        assert_eq!(told, [expected]);
    }

    #[test]
    fn a_row_that_was_cleared_counts_and_says_nothing() {
        let told = faults("date,trap,eggs\n2022-04-01,E1,1\n,,\n2022-13-01,E1,\n");
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0].starts_with("row 4, column date"), "{told:?}");
    }

    #[test]
    fn a_header_with_a_slip_is_read_as_it_was_meant() {
        let told = faults("dates,trap,eggs\n2022-04-01,E1,x\n");
        assert_eq!(told.len(), 2, "{told:?}");
        assert_eq!(
            told[0],
            "row 1 (the header): unknown column \"dates\"; did you mean \"date\"?"
        );
    }

    #[test]
    fn a_header_that_does_not_fit_is_explained() {
        assert!(faults("date;trap;eggs\n")[0].contains("save the sheet as CSV with commas"));
        assert!(faults("date,colour\n")[0].contains("the columns are date, trap, eggs"));
        assert!(faults("date,colour\n")[1].contains("the column trap is missing"));
        assert!(faults("date,trap,date\n")[0].contains("the column date stands twice"));
    }

    #[test]
    fn a_name_with_a_comma_stays_one_cell() {
        let row = ["2022-05-01", "hatch, first \"small\" one", ""].map(str::to_owned);
        let text = csv_text(["date", "passed", "total"], [row.clone()]);
        assert!(text.starts_with("date,passed,total\n2022-05-01,"), "{text}");
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let read: Vec<[String; 3]> = reader.deserialize().map(Result::unwrap).collect();
        assert_eq!(read, [row]);
    }
}
