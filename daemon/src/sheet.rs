//! Sheets that people fill in, however a spreadsheet saves them, and CSV that is written for them: named columns
//! in any order, every fault of every row told at once with row, column and value.

mod columns;
mod dates;
mod fault;
mod given;
mod number;
mod row;
mod workbook;

pub use fault::Fault;

pub(crate) use columns::Columns;
pub(crate) use dates::{BadDay, Dates};
pub(crate) use fault::keep;
pub(crate) use given::{Given, NoSheet};
pub(crate) use row::Row;

use self::columns::letters;
use self::given::{Page, is_blank};
use self::row::Reading;

/// So many rows are the readings of many farms over many years, and more than anybody fills in.
const MOST_ROWS: usize = 1_000_000;

/// What was read: the rows that are right, and everything that is wrong. A sheet with faults must
/// not be used.
pub(crate) struct Sheet<T> {
    pub(crate) rows: Vec<T>,
    pub(crate) faults: Vec<Fault>,
    /// What is to be said of its encoding.
    pub(crate) remark: Option<&'static str>,
}

impl<T> Sheet<T> {
    /// The same of other rows.
    pub(crate) fn map<U>(self, row: impl FnMut(T) -> U) -> Sheet<U> {
        Sheet {
            rows: self.rows.into_iter().map(row).collect(),
            faults: self.faults,
            remark: self.remark,
        }
    }

    fn without_rows(fault: String) -> Self {
        Self {
            rows: Vec::new(),
            faults: vec![Fault::of_sheet(fault)],
            remark: None,
        }
    }
}

/// Reads a sheet and builds a record from each row.
pub(crate) fn read<T>(
    bytes: &[u8],
    columns: &Columns,
    dates: &Dates,
    build: impl FnMut(&Row<'_>) -> Result<T, Vec<Fault>>,
) -> Sheet<T> {
    let given = match Given::of(bytes) {
        Ok(given) => given,
        Err(no) => return Sheet::without_rows(no.why),
    };
    let page = match given.page(columns) {
        Ok(page) => page,
        Err(why) => return Sheet::without_rows(why),
    };
    Sheet {
        remark: given.remark,
        ..read_page(page, columns, dates, build)
    }
}

fn read_page<T>(
    page: &Page<'_>,
    columns: &Columns,
    dates: &Dates,
    mut build: impl FnMut(&Row<'_>) -> Result<T, Vec<Fault>>,
) -> Sheet<T> {
    let mut sheet = Sheet {
        rows: Vec::new(),
        faults: Vec::new(),
        remark: None,
    };
    let reading = Reading {
        dates,
        decimals: page.decimals(),
    };
    let mut header = None;
    let (mut reader, mut number) = (page.reader(), 0);
    // One record for all rows: a sheet may have many thousands.
    let mut record = csv::StringRecord::new();
    // Reading text that is in memory cannot fail.
    while reader.read_record(&mut record).unwrap_or(false) {
        let begin = record.position().map_or(0, csv::Position::byte);
        number += 1 + lines_passed_over(page.text(), begin);
        if number > MOST_ROWS + 1 {
            let why = format!("a sheet has {MOST_ROWS} rows at most; split it into several");
            sheet.faults.push(Fault::of_row(number, why));
            break;
        }
        if is_blank(&record) {
            continue;
        }
        let Some(header) = &header else {
            let (found, faults) = columns.check(number, &record);
            sheet.faults = faults;
            match found {
                Some(found) => header = Some(found),
                None => break,
            }
            continue;
        };
        let row = Row {
            number,
            header,
            record: &record,
            reading,
        };
        match built(&row, &mut build) {
            Ok(row) => sheet.rows.push(row),
            Err(wrong) => sheet.faults.extend(wrong),
        }
    }
    sheet
}

/// The record of a row, or all that is wrong with it.
fn built<T>(
    row: &Row<'_>,
    build: impl FnOnce(&Row<'_>) -> Result<T, Vec<Fault>>,
) -> Result<T, Vec<Fault>> {
    // With another number of fields no value has a sure place.
    if let Some(fault) = row.unequal() {
        return Err(vec![fault]);
    }
    let mut faults: Vec<Fault> = row.too_long().chain(row.nameless()).collect();
    match build(row) {
        Ok(built) if faults.is_empty() => Ok(built),
        Ok(_) => Err(faults),
        Err(wrong) => {
            faults.extend(wrong);
            Err(faults)
        }
    }
}

/// How many empty lines stand before the record whose reading began at a byte. They are rows to a spreadsheet.
fn lines_passed_over(text: &str, begin: u64) -> usize {
    let begin = usize::try_from(begin).unwrap_or(usize::MAX);
    let bytes = text.as_bytes();
    let mut rest = bytes.get(begin..).unwrap_or_default();
    // The second half of a line end that belongs to the record before.
    if begin > 0 && bytes.get(begin - 1) == Some(&b'\r') && rest.first() == Some(&b'\n') {
        rest = &rest[1..];
    }
    let mut lines = 0;
    while let [b'\r', b'\n', after @ ..] | [b'\r' | b'\n', after @ ..] = rest {
        lines += 1;
        rest = after;
    }
    lines
}

impl Row<'_> {
    /// That it has fewer fields than the header has names, or a value behind the last one.
    fn unequal(&self) -> Option<Fault> {
        let named = self.header.iter().rposition(Option::is_some);
        let named = named.map_or(0, |last| last + 1);
        let (expected, found) = (self.header.len(), self.record.len());
        let mut behind = self.record.iter().skip(expected);
        let unequal = found < named || behind.any(|cell| !cell.is_empty());
        unequal.then(|| {
            let what = format!("it has {found} fields, the header has {expected}");
            Fault::of_row(self.number, what)
        })
    }

    /// Values below no name.
    fn nameless(&self) -> impl Iterator<Item = Fault> {
        let cells = self.header.iter().zip(self.record).enumerate();
        let lost = cells.filter(|(_, (name, cell))| name.is_none() && !cell.is_empty());
        lost.map(|(place, (_, cell))| {
            let what = format!(
                "{cell:?} stands in column {}, which has no name in the header; take it out or name it",
                letters(place)
            );
            Fault::of_row(self.number, what)
        })
    }
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

#[cfg(test)]
mod tests;
