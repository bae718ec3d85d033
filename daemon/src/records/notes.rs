//! Field notes from CSV.

use chrono::NaiveDate;
use duskflight_core::id::BlockId;
use duskflight_core::orchard::{Block, Orchard};
use duskflight_core::trapping::{Note, NoteKind};

use super::row::{Row, RowError, Wrong, build_all};
use crate::store::notes::kind;

const COLUMNS: [&str; 6] = ["date", "block", "variety", "kind", "value", "note"];

/// Checks every row against the blocks and varieties that are declared.
pub(super) fn parse(
    text: &str,
    orchard: &Orchard,
    today: NaiveDate,
    by: &str,
) -> Result<Vec<Note>, Vec<RowError>> {
    build_all(text, &COLUMNS, &["date", "block", "kind"], |row| {
        note(row, orchard, today, by).map_err(|wrong| vec![wrong])
    })
}

fn note(row: &Row<'_>, orchard: &Orchard, today: NaiveDate, by: &str) -> Result<Note, Wrong> {
    let date = row.day("date")?;
    if date > today {
        return Err(row.wrong("date", format!("lies after today, {today}")));
    }
    let block = BlockId::new(row.text("block"))
        .ok()
        .and_then(|id| orchard.block(&id))
        .ok_or_else(|| row.wrong("block", "no such block in blocks.csv"))?;
    let value = match row.text("value") {
        "" => None,
        _ => Some(row.day("value")?),
    };
    let kind = kind(row.text("kind"), value).ok_or_else(|| {
        row.wrong(
            "kind",
            "write egg-laying-start or hull-split-expected with a day as value, or hull-split without",
        )
    })?;
    Ok(Note {
        block: block.id.clone(),
        variety: variety(row, block, kind)?,
        date,
        kind,
        text: row.text("note").to_owned(),
        by: by.to_owned(),
    })
}

/// Hull split is about one variety of the block, a start is about the whole block.
fn variety(row: &Row<'_>, block: &Block, kind: NoteKind) -> Result<Option<String>, Wrong> {
    let text = row.text("variety");
    match kind {
        NoteKind::EggLayingStart(_) if text.is_empty() => Ok(None),
        NoteKind::EggLayingStart(_) => Err(row.wrong(
            "variety",
            "leave it empty: a start is set for the whole block",
        )),
        _ if block.varieties.iter().any(|variety| variety == text) => Ok(Some(text.to_owned())),
        _ => Err(row.wrong(
            "variety",
            format!("block {} has {}", block.id, block.varieties.join(", ")),
        )),
    }
}
