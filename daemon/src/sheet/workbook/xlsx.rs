//! Workbooks of the form `.xlsx`, cell by cell.

use std::io::Cursor;

use calamine::{DataRef, Reader, SheetType, Style, Xlsx, XlsxError};

use super::page::{MOST_COLUMNS, Page, Room, number_text};
use super::trouble::Trouble;

type Workbook<'a> = Xlsx<Cursor<&'a [u8]>>;

pub(super) fn pages(bytes: &[u8]) -> Result<Vec<(String, String)>, Trouble> {
    let mut workbook = Workbook::new(Cursor::new(bytes)).map_err(damaged)?;
    let sheets = workbook.sheets_metadata().iter();
    let sheets = sheets.filter(|sheet| sheet.typ == SheetType::WorkSheet);
    let names: Vec<String> = sheets.map(|sheet| sheet.name.clone()).collect();
    let mut room = Room::new();
    names
        .into_iter()
        .map(|name| page(&mut workbook, name, &mut room))
        .collect()
}

fn page(
    workbook: &mut Workbook<'_>,
    name: String,
    room: &mut Room,
) -> Result<(String, String), Trouble> {
    let mut reader = workbook.worksheet_cells_reader(&name).map_err(damaged)?;
    let percentages: Vec<bool> = reader.styles().iter().map(is_percentage).collect();
    let mut page = Page::new(name);
    let (mut row, mut cells, mut held) = (0, Vec::new(), 0);
    while let Some((cell, style)) = reader.next_cell_with_style_id().map_err(damaged)? {
        let text = text(cell.get_value(), percentages.get(style) == Some(&true));
        if text.is_empty() {
            continue;
        }
        let (its_row, column) = cell.get_position();
        let (its_row, column) = (its_row as usize, column as usize);
        if its_row != row && !cells.is_empty() {
            page.row(row, &mut cells, room)?;
            held = 0;
        }
        row = its_row;
        // Many cells may share one text, and a row may be all there is.
        held += text.len();
        room.ask(held)?;
        if column >= MOST_COLUMNS {
            return Err(Trouble::Damaged);
        }
        if cells.len() <= column {
            cells.resize(column + 1, String::new());
        }
        cells[column] = text;
    }
    if !cells.is_empty() {
        page.row(row, &mut cells, room)?;
    }
    page.finish()
}

fn is_percentage(style: &Style) -> bool {
    let format = style.number_format.as_ref();
    format.is_some_and(|format| format.format_code.contains('%'))
}

/// What a cell holds, a formula its last value, as CSV would have it.
fn text(value: &DataRef<'_>, is_percentage: bool) -> String {
    match value {
        DataRef::Int(number) => number.to_string(),
        DataRef::Float(number) => number_text(*number, is_percentage),
        DataRef::String(text) | DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => {
            text.clone()
        }
        DataRef::SharedString(text) => (*text).to_owned(),
        DataRef::Bool(truth) => truth.to_string(),
        DataRef::DateTime(moment) => match moment.as_datetime() {
            Some(at) if moment.is_datetime() => at.date().to_string(),
            _ => moment.to_string(),
        },
        DataRef::Error(error) => error.to_string(),
        DataRef::Empty => String::new(),
    }
}

fn damaged(_: XlsxError) -> Trouble {
    Trouble::Damaged
}
