//! Field notes as rows of a sheet.

mod forms;

use std::collections::BTreeSet;

use chrono::NaiveDate;
use duskflight_core::id::BlockId;
use duskflight_core::orchard::{Block, Orchard, Regime};
use duskflight_core::trapping::{Implausible, Note, NoteKind, implausible_days};
use duskflight_core::wording::Words;

use self::forms::{About, Form, form_of};
use super::cells::{entered_by, unguarded};
use super::reading::{Asked, Reading};
use crate::nearest::suggestion;
use crate::sheet::{self, Columns, Fault, Row, Sheet, keep};

pub(super) const COLUMNS: Columns = Columns {
    all: &[
        "date",
        "block",
        "variety",
        "kind",
        "value",
        "earliest",
        "latest",
        "trees",
        "top",
        "middle",
        "low",
        "scale",
        "stage",
        "in_tree",
        "on_ground",
        "nuts",
        "orangeworm",
        "twig_borer",
        "ants",
        "other",
        "damaged",
        "percent",
        "note",
        "by",
    ],
    needed: &["date", "block", "kind"],
};

/// Checks every row against the blocks and varieties that are declared.
pub(super) fn parse(bytes: &[u8], reading: &Reading<'_>) -> Sheet<Asked<Note>> {
    let mut seen = BTreeSet::new();
    sheet::read(bytes, &COLUMNS, &reading.dates, |row| {
        let (note, asked) = note(row, reading)?;
        let key = (note.block.clone(), note.variety.clone());
        if seen.insert((key, note.kind.name(), note.date)) {
            Ok((note, asked))
        } else {
            let what = "stands twice for that block, variety and day";
            Err(vec![row.wrong("kind", what)])
        }
    })
}

fn note(row: &Row<'_>, reading: &Reading<'_>) -> Result<Asked<Note>, Vec<Fault>> {
    let mut faults = Vec::new();
    let date = keep(&mut faults, date(row, reading.today));
    let block = keep(&mut faults, block(row, &reading.orchard));
    let form = keep(&mut faults, form_of(row));
    let variety = match (block, form) {
        (Some(block), Some(form)) => keep(&mut faults, variety(row, block, form)),
        _ => None,
    };
    let kind = form.ok_or(()).and_then(|form| {
        let kind = form.kind(row, date);
        kind.map_err(|wrong| faults.extend(wrong))
    });
    if let (Some(block), Ok(kind)) = (block, kind) {
        keep(&mut faults, fits_regime(row, block, &kind));
    }
    let (Some(date), Some(block), Some(variety), Ok(kind), true) =
        (date, block, variety, kind, faults.is_empty())
    else {
        return Err(faults);
    };
    let note = Note {
        block: block.id.clone(),
        variety,
        date,
        kind,
        text: unguarded(row.text("note")).to_owned(),
        by: entered_by(row, reading.by),
        entered_at: reading.now,
    };
    let found = implausible_days(&note, block.crop).into_iter();
    let asked = found
        .map(|found| asked(row, reading.words, found))
        .collect();
    Ok((note, asked))
}

/// The question about a day, at the column that it stands in.
fn asked(row: &Row<'_>, words: Words, found: Implausible) -> Fault {
    let stands_in = |column: &&'static str| match found {
        Implausible::Day { day, .. } => row.day(column).is_ok_and(|there| there == day),
        Implausible::Count { .. } => false,
    };
    let columns = ["value", "earliest", "latest", "date"];
    let column = columns.iter().copied().find(|column| stands_in(column));
    row.doubt(column.unwrap_or("date"), words.implausible(found))
}

/// Dispensers belong to blocks that are declared as disrupted.
fn fits_regime(row: &Row<'_>, block: &Block, kind: &NoteKind) -> Result<(), Fault> {
    let dispensers = matches!(kind, NoteKind::DispensersOn | NoteKind::DispensersUntil(_));
    if dispensers && block.regime == Regime::Conventional {
        let what = format!(
            "block {} is conventional in blocks.csv; change its regime there first",
            block.id
        );
        return Err(row.wrong("kind", what));
    }
    Ok(())
}

fn date(row: &Row<'_>, today: NaiveDate) -> Result<NaiveDate, Fault> {
    let date = row.day("date")?;
    if date > today {
        return Err(row.wrong("date", format!("lies after today, {today}")));
    }
    Ok(date)
}

fn block<'a>(row: &Row<'_>, orchard: &'a Orchard) -> Result<&'a Block, Fault> {
    let text = unguarded(row.text("block"));
    let found = BlockId::new(text).ok().and_then(|id| orchard.block(&id));
    found.ok_or_else(|| {
        let ids = orchard.blocks().iter().map(|block| block.id.as_str());
        let near = suggestion(text, ids);
        row.wrong("block", format!("no such block in blocks.csv{near}"))
    })
}

/// The variety, as far as the kind of note asks for one.
fn variety(row: &Row<'_>, block: &Block, form: &Form) -> Result<Option<String>, Fault> {
    let text = unguarded(row.text("variety"));
    match (form.about, text) {
        (About::Block | About::Either, "") => Ok(None),
        (About::Block, _) => {
            let what = format!("leave it empty: {} is about the whole block", form.name);
            Err(row.wrong("variety", what))
        }
        _ if block.varieties.iter().any(|variety| variety == text) => Ok(Some(text.to_owned())),
        _ => {
            let near = suggestion(text, block.varieties.iter().map(String::as_str));
            let has = block.varieties.join(", ");
            Err(row.wrong("variety", format!("block {} has {has}{near}", block.id)))
        }
    }
}

#[cfg(test)]
mod tests;
