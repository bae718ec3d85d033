//! Visits and notes as rows of a table.

use duskflight_core::trapping::{Note, NoteKind, Visit};

use crate::records;

/// What a kind of note carries, as its columns say it.
fn carried_words(kind: &NoteKind) -> String {
    let carried = records::carried(kind).into_iter();
    let phrases = carried.map(|(column, cell)| match column {
        "value" => cell,
        column => format!("{column} {cell}"),
    });
    phrases.collect::<Vec<_>>().join(", ")
}

pub(super) const VISIT_COLUMNS: [&str; 9] = [
    "date", "trap", "eggs", "moths", "males", "females", "readable", "serviced", "note",
];

pub(super) fn visit_row(visit: &Visit) -> [String; 9] {
    let count = |count: Option<u32>| count.map_or_else(String::new, |n| n.to_string());
    let left = if visit.eggs_left { " left on" } else { "" };
    let serviced: Vec<&str> = visit.serviced.iter().map(|part| part.name()).collect();
    [
        visit.date.to_string(),
        visit.trap.to_string(),
        format!("{}{left}", count(visit.eggs)),
        count(visit.moths),
        count(visit.males),
        count(visit.females),
        if visit.readable { "yes" } else { "no" }.to_owned(),
        serviced.join(" "),
        visit.note.clone(),
    ]
}

pub(super) const NOTE_COLUMNS: [&str; 6] = ["date", "block", "variety", "kind", "says", "note"];

pub(super) fn note_row(note: &Note) -> [String; 6] {
    [
        note.date.to_string(),
        note.block.to_string(),
        note.variety.clone().unwrap_or_default(),
        note.kind.name().to_owned(),
        carried_words(&note.kind),
        note.text.clone(),
    ]
}
