//! A sheet as somebody gave it, however it was saved: text in one of the usual encodings, or a workbook.

use std::borrow::Cow;

use csv::StringRecord;
use encoding_rs::{Encoding, WINDOWS_1252};

use super::columns::Columns;
use super::number::Decimals;
use super::workbook::{self, Trouble};

/// What may part the fields of a row, the likeliest first.
const DELIMITERS: [u8; 3] = [b',', b';', b'\t'];
/// How a workbook of the old binary form begins, and one with a password.
const OLD_WORKBOOK: [u8; 8] = [0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
const AS_WINDOWS_1252: &str =
    "read as Windows-1252, since it is not UTF-8: look at letters with accents";

const OLD_FORM: &str =
    "it is a workbook of the old form .xls, or one with a password; save it as .xlsx, .ods or CSV";
const NO_TEXT: &str = "it is neither text nor a workbook; save it as CSV, .xlsx or .ods";

/// The pages of a sheet, and what is to be said of how they were read.
pub(crate) struct Given<'a> {
    pages: Vec<Page<'a>>,
    pub(super) remark: Option<&'static str>,
}

/// Why bytes are no sheet.
pub(crate) struct NoSheet {
    /// What is wrong and what to do.
    pub(crate) why: String,
    /// Whether they may be the beginning of one.
    pub(crate) is_part: bool,
}

impl<'a> Given<'a> {
    /// Finds out how bytes were saved.
    ///
    /// # Errors
    /// They are neither text nor a workbook that can be read, and what to do.
    pub(crate) fn of(bytes: &'a [u8]) -> Result<Self, NoSheet> {
        if workbook::is_one(bytes) {
            let pages = workbook::pages(bytes).map_err(|trouble| NoSheet {
                why: trouble.to_string(),
                is_part: matches!(trouble, Trouble::Damaged),
            })?;
            return Ok(Self {
                pages: pages.into_iter().map(Page::of_workbook).collect(),
                remark: None,
            });
        }
        let (text, remark) = decoded(bytes).map_err(|why| NoSheet {
            why: why.to_owned(),
            is_part: false,
        })?;
        Ok(Self {
            pages: vec![Page::of_text(text)],
            remark,
        })
    }

    /// Whether it is a workbook, which has its end within.
    pub(crate) fn is_workbook(&self) -> bool {
        self.pages.iter().all(|page| page.name.is_some())
    }

    /// The first row of each page that has any.
    pub(crate) fn headers(&self) -> impl Iterator<Item = StringRecord> {
        self.pages.iter().filter_map(Page::header)
    }

    /// The page to read: the only one with anything on it, else the first with the columns that are needed.
    pub(super) fn page(&self, columns: &Columns) -> Result<&Page<'a>, String> {
        let filled = self.pages.iter().filter(|page| page.header().is_some());
        let filled: Vec<&Page<'_>> = filled.collect();
        let fits = |page: &&Page<'_>| page.header().is_some_and(|h| columns.are_in(&h));
        match filled.as_slice() {
            [] => Err("it is empty".to_owned()),
            [page] => Ok(page),
            pages => pages.iter().copied().find(fits).ok_or_else(|| {
                let names = pages.iter().filter_map(|page| page.name.as_deref());
                let names: Vec<String> = names.map(|name| format!("{name:?}")).collect();
                let (names, needed) = (names.join(", "), columns.needed.join(", "));
                format!("none of its pages {names} has {needed} in its first row")
            }),
        }
    }
}

/// One page as text in rows.
pub(super) struct Page<'a> {
    /// As its workbook has it; none of text.
    name: Option<String>,
    text: Cow<'a, str>,
    /// Where the rows begin.
    begin: usize,
    delimiter: u8,
}

impl<'a> Page<'a> {
    fn of_workbook((name, text): (String, String)) -> Self {
        Self {
            name: Some(name),
            text: Cow::Owned(text),
            begin: 0,
            delimiter: b',',
        }
    }

    fn of_text(text: Cow<'a, str>) -> Self {
        let (delimiter, begin) = said_delimiter(&text).unwrap_or((likely_delimiter(&text), 0));
        Self {
            name: None,
            text,
            begin,
            delimiter,
        }
    }

    pub(super) fn text(&self) -> &str {
        &self.text[self.begin..]
    }

    pub(super) fn reader(&self) -> csv::Reader<&[u8]> {
        csv::ReaderBuilder::new()
            .delimiter(self.delimiter)
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(self.text().as_bytes())
    }

    /// The first row with anything in it.
    fn header(&self) -> Option<StringRecord> {
        let mut records = self.reader().into_records().flatten();
        records.find(|record| !is_blank(record))
    }

    pub(super) const fn decimals(&self) -> Decimals {
        match self.delimiter {
            b',' => Decimals::Point,
            _ => Decimals::PointOrComma,
        }
    }
}

/// A spreadsheet writes rows that were cleared as delimiters alone.
pub(super) fn is_blank(record: &StringRecord) -> bool {
    record.iter().all(str::is_empty)
}

/// The delimiter that a first line such as `sep=;` names, and where the rows begin.
fn said_delimiter(text: &str) -> Option<(u8, usize)> {
    let end = text.find(['\r', '\n'])?;
    let said = text[..end].trim_matches(['"', ' ']).to_ascii_lowercase();
    let [delimiter] = said.strip_prefix("sep=")?.as_bytes() else {
        return None;
    };
    let line_end = if text[end..].starts_with("\r\n") {
        2
    } else {
        1
    };
    DELIMITERS
        .contains(delimiter)
        .then_some((*delimiter, end + line_end))
}

/// What stands most often in the first row with anything in it, outside of quotes.
fn likely_delimiter(text: &str) -> u8 {
    let rows = text.trim_start();
    let header = rows.split(['\r', '\n']).next().unwrap_or_default();
    let mut quoted = false;
    let mut counts = [0; DELIMITERS.len()];
    for byte in header.bytes() {
        quoted ^= byte == b'"';
        let place = DELIMITERS.iter().position(|delimiter| *delimiter == byte);
        if let Some(place) = place.filter(|_| !quoted) {
            counts[place] += 1;
        }
    }
    let most = counts.iter().max();
    let place = counts.iter().position(|count| Some(count) == most);
    DELIMITERS[place.unwrap_or(0)]
}

/// Bytes as text, and what is to be said of its encoding.
fn decoded(bytes: &[u8]) -> Result<(Cow<'_, str>, Option<&'static str>), &'static str> {
    if bytes.starts_with(&OLD_WORKBOOK) {
        return Err(OLD_FORM);
    }
    if let Some((encoding, mark)) = Encoding::for_bom(bytes) {
        let text = encoding.decode_without_bom_handling_and_without_replacement(&bytes[mark..]);
        let text = text.filter(|text| !text.contains('\0'));
        return text.map(|text| (text, None)).ok_or(NO_TEXT);
    }
    let (text, remark) = match std::str::from_utf8(bytes) {
        Ok(text) => (Cow::Borrowed(text), None),
        Err(_) => {
            let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
            // Its few unused places are controls.
            if text
                .chars()
                .any(|c| c.is_control() && !"\t\r\n".contains(c))
            {
                return Err(NO_TEXT);
            }
            (text, Some(AS_WINDOWS_1252))
        }
    };
    match text.contains('\0') {
        true => Err(NO_TEXT),
        false => Ok((text, remark)),
    }
}
