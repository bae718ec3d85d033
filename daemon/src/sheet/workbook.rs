//! Workbooks of spreadsheets, `.xlsx` and `.ods`, as the CSV that the spreadsheet itself would save: one way
//! of reading rows for all sheets. Nothing is unpacked, and no page grows, beyond a sheet's ceiling.

mod ods;
mod page;
mod styles;
mod trouble;
mod xlsx;
mod xml;

use std::io::{self, Cursor, Read};

use zip::ZipArchive;

pub(super) use self::trouble::Trouble;

use self::trouble::MOST_UNPACKED;

/// How a packed file begins.
const PACKED: [u8; 4] = *b"PK\x03\x04";
/// The most bytes of a packed workbook: its table of contents is read before anything is known of it.
const MOST_PACKED: usize = 8 << 20;

/// Whether bytes are those of a packed file.
pub(super) fn is_one(bytes: &[u8]) -> bool {
    bytes.starts_with(&PACKED)
}

/// Its pages in their order, each with its name.
///
/// # Errors
/// It is no workbook, is damaged, or unpacks to too much.
pub(super) fn pages(bytes: &[u8]) -> Result<Vec<(String, String)>, Trouble> {
    if bytes.len() > MOST_PACKED {
        return Err(Trouble::TooLarge);
    }
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_| Trouble::Damaged)?;
    unpacks_within(&mut archive, MOST_UNPACKED)?;
    let has = |name| archive.index_for_name(name).is_some();
    match (has("xl/workbook.xml"), has("content.xml")) {
        (true, _) => xlsx::pages(&styles::without_looks(&mut archive)?),
        (false, true) => ods::pages(&text_of(&mut archive, "content.xml")?),
        (false, false) => Err(Trouble::OtherForm),
    }
}

/// Unpacks all parts to nowhere: what a part says of its own size may be wrong.
fn unpacks_within(archive: &mut ZipArchive<Cursor<&[u8]>>, most: u64) -> Result<(), Trouble> {
    let mut left = most;
    for place in 0..archive.len() {
        let part = archive.by_index(place).map_err(|_| Trouble::Damaged)?;
        let bytes = io::copy(&mut part.take(left + 1), &mut io::sink());
        let bytes = bytes.map_err(|_| Trouble::Damaged)?;
        left = left.checked_sub(bytes).ok_or(Trouble::TooLarge)?;
    }
    Ok(())
}

fn text_of(archive: &mut ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<String, Trouble> {
    let mut text = String::new();
    let part = archive.by_name(name).map_err(|_| Trouble::Damaged)?;
    let read = part.take(MOST_UNPACKED).read_to_string(&mut text);
    read.map_err(|_| Trouble::Damaged)?;
    Ok(text)
}

#[cfg(test)]
mod tests;
