//! Round sheets as CSV: filled in, they are sheets of visits.

use duskflight_core::contents::{RoundSheet, Stop};

use super::export::{Cells, sheet};
use super::visits::{COLUMNS, FOR_THE_ROUND};

/// One row a stop, with its date and trap filled in and everything of the visit empty.
#[must_use]
pub fn round_csv(sheets: &[RoundSheet]) -> String {
    let columns = COLUMNS.all.iter().chain(&FOR_THE_ROUND);
    let columns: Vec<&'static str> = columns.copied().collect();
    let stops = sheets
        .iter()
        .flat_map(|sheet| sheet.stops.iter().map(move |stop| (sheet, stop)));
    sheet(&columns, stops.map(|(sheet, stop)| cells(sheet, stop)))
}

fn cells(sheet: &RoundSheet, stop: &Stop) -> Cells {
    vec![
        ("date", sheet.day.to_string()),
        ("trap", stop.trap.to_string()),
        ("route", stop.place.route.clone()),
        ("block", stop.block.clone()),
        ("gate", stop.place.gate.clone()),
        ("row", stop.place.row.clone()),
        ("tree", stop.place.tree.clone()),
        ("place", stop.place.remark.clone()),
        ("todo", stop.todo(sheet.speech)),
    ]
}
