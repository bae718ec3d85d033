//! Round sheets as CSV: filled in, they are sheets of visits.

use duskflight_core::notice::{RoundSheet, Stop};

use super::cells::guarded;
use super::visits::{COLUMNS, FOR_THE_ROUND};

/// One row a stop, with its date and trap filled in and everything of the visit empty.
#[must_use]
pub fn round_csv(sheets: &[RoundSheet]) -> String {
    let columns = || COLUMNS.all.iter().chain(&FOR_THE_ROUND).copied();
    let mut writer = csv::Writer::from_writer(Vec::new());
    let stops = sheets
        .iter()
        .flat_map(|sheet| sheet.stops.iter().map(move |stop| (sheet, stop)));
    let filled = |c, sheet, stop| guarded(&cell(c, sheet, stop)).into_owned();
    let rows = stops.map(|(sheet, stop)| columns().map(|c| filled(c, sheet, stop)).collect());
    let header = columns().map(str::to_owned).collect();
    for row in std::iter::once(header).chain(rows) {
        let row: Vec<String> = row;
        // Writing to memory cannot fail, and every row is as long as the header.
        writer.write_record(&row).expect("rows alike, in memory");
    }
    let bytes = writer.into_inner().expect("memory");
    String::from_utf8(bytes).expect("the cells are text")
}

fn cell(column: &str, sheet: &RoundSheet, stop: &Stop) -> String {
    match column {
        "date" => sheet.day.to_string(),
        "trap" => stop.trap.to_string(),
        "route" => stop.place.route.clone(),
        "block" => stop.block.clone(),
        "gate" => stop.place.gate.clone(),
        "row" => stop.place.row.clone(),
        "tree" => stop.place.tree.clone(),
        "place" => stop.place.remark.clone(),
        "todo" => stop.todo(),
        _ => String::new(),
    }
}
