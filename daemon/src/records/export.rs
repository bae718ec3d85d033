//! Records as sheets that import to the same records.

use duskflight_core::trapping::{Note, NoteKind, Visit};

use super::cells::guarded;
use super::{notes, visits};
use crate::sheet::csv_text;

/// One record's cells by column; what is not named is empty.
pub(crate) type Cells = Vec<(&'static str, String)>;

/// Columns whose cells are numbers, days or words of a set, which stand as they are.
const PLAIN: fn(&str) -> bool = |column| {
    let free = ["trap", "block", "variety", "note", "by"];
    !free.contains(&column) && !visits::FOR_THE_ROUND.contains(&column)
};

/// Visits with who entered them, as a sheet.
#[must_use]
pub fn visits_csv(visits: &[(Visit, String)]) -> String {
    let rows = visits.iter().map(|(visit, by)| visit_cells(visit, by));
    sheet(visits::COLUMNS.all, rows)
}

/// Notes as a sheet.
#[must_use]
pub fn notes_csv(notes: &[Note]) -> String {
    sheet(notes::COLUMNS.all, notes.iter().map(note_cells))
}

/// A sheet of these columns.
pub(crate) fn sheet(columns: &[&'static str], rows: impl Iterator<Item = Cells>) -> String {
    csv_text(columns, rows.map(|cells| row(columns, &cells)))
}

fn row(columns: &[&'static str], cells: &Cells) -> Vec<String> {
    let cell = |column: &&'static str| {
        let found = cells.iter().find(|(name, _)| name == column);
        found.map_or("", |(_, cell)| cell.as_str())
    };
    let written = columns.iter().map(|column| match cell(column) {
        text if PLAIN(column) => text.to_owned(),
        text => guarded(text).into_owned(),
    });
    written.collect()
}

pub(super) fn visit_cells(visit: &Visit, by: &str) -> Cells {
    let count = |count: Option<u32>| count.map_or_else(String::new, |n| n.to_string());
    let serviced: Vec<&str> = visit.serviced.iter().map(|part| part.name()).collect();
    vec![
        ("date", visit.date.to_string()),
        ("trap", visit.trap.to_string()),
        ("eggs", count(visit.eggs)),
        (
            "eggs_left",
            if visit.eggs_left { "yes" } else { "" }.to_owned(),
        ),
        ("moths", count(visit.moths)),
        ("males", count(visit.males)),
        ("females", count(visit.females)),
        (
            "readable",
            if visit.readable { "" } else { "no" }.to_owned(),
        ),
        ("serviced", serviced.join(" ")),
        ("note", visit.note.clone()),
        ("by", by.to_owned()),
    ]
}

/// The cells of a note, by column.
pub(super) fn note_cells(note: &Note) -> Cells {
    let mut cells = vec![
        ("date", note.date.to_string()),
        ("block", note.block.to_string()),
        ("variety", note.variety.clone().unwrap_or_default()),
        ("kind", note.kind.name().to_owned()),
    ];
    cells.extend(carried(&note.kind));
    cells.push(("note", note.text.clone()));
    cells.push(("by", note.by.clone()));
    cells
}

/// What a kind of note carries, by column.
pub(crate) fn carried(kind: &NoteKind) -> Cells {
    let given = |cells: Vec<(&'static str, Option<String>)>| {
        let given = cells.into_iter();
        given
            .filter_map(|(column, cell)| Some((column, cell?)))
            .collect()
    };
    let number = |number: Option<f64>| number.map(|number| number.to_string());
    match kind {
        NoteKind::EggLayingStart(start) => {
            let [earliest, latest] = match start.within {
                Some(days) => days.map(|day| Some(day.to_string())),
                None => [None, None],
            };
            given(vec![
                ("value", Some(start.day.to_string())),
                ("earliest", earliest),
                ("latest", latest),
            ])
        }
        NoteKind::HullSplitExpected(day)
        | NoteKind::DispensersUntil(day)
        | NoteKind::NoEntryUntil(day) => vec![("value", day.to_string())],
        NoteKind::HullSplitCheck(check) => given(vec![
            ("trees", Some(check.trees.to_string())),
            ("top", number(check.top)),
            ("middle", number(check.middle)),
            ("low", number(check.low)),
            (
                "scale",
                check.stage.map(|stage| stage.scale.name().to_owned()),
            ),
            ("stage", check.stage.map(|stage| stage.name().to_owned())),
        ]),
        NoteKind::ShakeExpected(expected) => vec![
            ("value", expected.likely.to_string()),
            ("earliest", expected.earliest.to_string()),
            ("latest", expected.latest.to_string()),
        ],
        NoteKind::Mummies(mummies) => given(vec![
            ("trees", Some(mummies.trees.to_string())),
            ("in_tree", number(mummies.in_tree)),
            ("on_ground", number(mummies.on_ground)),
        ]),
        NoteKind::HarvestSample(sample) => vec![
            ("nuts", sample.nuts.to_string()),
            ("orangeworm", sample.orangeworm.to_string()),
            ("twig_borer", sample.twig_borer.to_string()),
            ("ants", sample.ants.to_string()),
            ("other", sample.other.to_string()),
        ],
        NoteKind::NutSample(sample) => vec![
            ("nuts", sample.nuts.to_string()),
            ("damaged", sample.damaged.to_string()),
        ],
        NoteKind::FieldDamage(percent) | NoteKind::Rejects(percent) => {
            vec![("percent", percent.to_string())]
        }
        NoteKind::Bloom
        | NoteKind::HullSplit
        | NoteKind::Shaken
        | NoteKind::Insecticide
        | NoteKind::DispensersOn => Vec::new(),
    }
}
