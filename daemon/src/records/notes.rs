//! Field notes as rows of a sheet.

mod forms;

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::BlockId;
use duskflight_core::orchard::{Block, Orchard, Regime};
use duskflight_core::trapping::{Note, NoteKind};

use self::forms::{About, Form, form_of};
use super::cells::{entered_by, unguarded};
use crate::nearest::suggestion;
use crate::sheet::{self, Columns, Fault, Row, keep};

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
        "percent",
        "note",
        "by",
    ],
    needed: &["date", "block", "kind"],
};

/// Checks every row against the blocks and varieties that are declared.
pub(super) fn parse(
    text: &str,
    orchard: &Orchard,
    today: NaiveDate,
    now: DateTime<Utc>,
    by: &str,
) -> Result<Vec<Note>, Vec<Fault>> {
    let mut seen = BTreeSet::new();
    sheet::read(text, &COLUMNS, |row| {
        let note = note(row, orchard, today, now, by)?;
        let key = (note.block.clone(), note.variety.clone());
        if seen.insert((key, note.kind.name(), note.date)) {
            Ok(note)
        } else {
            let what = "stands twice for that block, variety and day";
            Err(vec![row.wrong("kind", what)])
        }
    })
    .whole()
}

fn note(
    row: &Row<'_>,
    orchard: &Orchard,
    today: NaiveDate,
    now: DateTime<Utc>,
    by: &str,
) -> Result<Note, Vec<Fault>> {
    let mut faults = Vec::new();
    let date = keep(&mut faults, date(row, today));
    let block = keep(&mut faults, block(row, orchard));
    let form = keep(&mut faults, form_of(row));
    let variety = match (block, form) {
        (Some(block), Some(form)) => keep(&mut faults, variety(row, block, form)),
        _ => None,
    };
    let kind = match (form, date) {
        (Some(form), Some(date)) => form.kind(row, date).map_err(|wrong| faults.extend(wrong)),
        _ => Err(()),
    };
    if let (Some(block), Ok(kind)) = (block, kind) {
        keep(&mut faults, fits_regime(row, block, &kind));
    }
    match (date, block, variety, kind) {
        (Some(date), Some(block), Some(variety), Ok(kind)) if faults.is_empty() => Ok(Note {
            block: block.id.clone(),
            variety,
            date,
            kind,
            text: unguarded(row.text("note")).to_owned(),
            by: entered_by(row, by),
            entered_at: now,
        }),
        _ => Err(faults),
    }
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
