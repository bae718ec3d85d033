//! Field notes from CSV.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate};
use duskflight_core::id::BlockId;
use duskflight_core::orchard::{Block, Orchard};
use duskflight_core::trapping::{Note, NoteKind};

use crate::sheet::{self, Columns, Fault, Row};

const COLUMNS: Columns = Columns {
    all: &["date", "block", "variety", "kind", "value", "note"],
    needed: &["date", "block", "kind"],
};

/// Checks every row against the blocks and varieties that are declared.
pub(super) fn parse(
    text: &str,
    orchard: &Orchard,
    today: NaiveDate,
    by: &str,
) -> Result<Vec<Note>, Vec<Fault>> {
    let mut seen = BTreeSet::new();
    sheet::read(text, &COLUMNS, |row| {
        let note = note(row, orchard, today, by).map_err(|wrong| vec![wrong])?;
        let kind = row.text("kind").to_owned();
        if seen.insert((note.block.clone(), note.variety.clone(), kind, note.date)) {
            Ok(note)
        } else {
            let what = "stands twice for that block, variety and day";
            Err(vec![row.wrong("kind", what)])
        }
    })
    .whole()
}

fn note(row: &Row<'_>, orchard: &Orchard, today: NaiveDate, by: &str) -> Result<Note, Fault> {
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
    if value.is_some_and(|value| value.year() != date.year()) {
        return Err(row.wrong("value", "lies in another year than the note's date"));
    }
    let kind = match (row.text("kind"), value) {
        ("egg-laying-start", Some(day)) => Some(NoteKind::EggLayingStart(day)),
        ("hull-split", None) => Some(NoteKind::HullSplit),
        ("hull-split-expected", Some(day)) => Some(NoteKind::HullSplitExpected(day)),
        _ => None,
    };
    let kind = kind.ok_or_else(|| {
        row.wrong(
            "kind",
            "write egg-laying-start or hull-split-expected with a day as value, or hull-split without",
        )
    })?;
    if matches!(kind, NoteKind::EggLayingStart(start) if start > date) {
        return Err(row.wrong("value", "lies after the day it was decided"));
    }
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
fn variety(row: &Row<'_>, block: &Block, kind: NoteKind) -> Result<Option<String>, Fault> {
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

#[cfg(test)]
mod tests {
    use duskflight_core::id::{GroupId, PersonId, StationId};
    use duskflight_core::orchard::{Crop, Dispensers, Regime};

    use super::*;

    fn orchard() -> Orchard {
        let block = Block {
            id: BlockId::new("B").unwrap(),
            name: "Bench".into(),
            grower: PersonId::new("grower").unwrap(),
            adviser: PersonId::new("adviser").unwrap(),
            crop: Crop::Almond,
            acres: None,
            regime: Regime::Conventional,
            dispensers: Dispensers::default(),
            near: BTreeSet::new(),
            station: StationId::new("S").unwrap(),
            varieties: vec!["Nonpareil".into()],
            start_group: GroupId::new("B").unwrap(),
            start_rule: None,
        };
        Orchard::new(vec![block], Vec::new(), Vec::new())
    }

    fn import(text: &str) -> Result<Vec<Note>, Vec<String>> {
        let today = NaiveDate::from_ymd_opt(2022, 7, 10).unwrap();
        parse(text, &orchard(), today, "ada")
            .map_err(|errors| errors.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn each_kind_is_read() {
        let text = "date,block,variety,kind,value,note\n\
            2022-04-20,B,,egg-laying-start,2022-04-12,eggs on the border row\n\
            2022-06-01,B,Nonpareil,hull-split-expected,2022-07-01,\n\
            2022-07-04,B,Nonpareil,hull-split,,\n";
        let kinds: Vec<NoteKind> = import(text).unwrap().iter().map(|note| note.kind).collect();
        let day = |month, day| NaiveDate::from_ymd_opt(2022, month, day).unwrap();
        assert_eq!(
            kinds,
            [
                NoteKind::EggLayingStart(day(4, 12)),
                NoteKind::HullSplitExpected(day(7, 1)),
                NoteKind::HullSplit,
            ]
        );
    }

    #[test]
    fn every_fault_is_named() {
        let text = "date,block,variety,kind,value,note\n\
            2022-07-11,B,Nonpareil,hull-split,,\n\
            2022-07-01,C,Nonpareil,hull-split,,\n\
            2022-07-01,B,Carmel,hull-split,,\n\
            2022-07-01,B,Nonpareil,hull-split,2022-07-01,\n\
            2022-06-01,B,Nonpareil,hull-split-expected,2021-07-01,\n\
            2022-04-20,B,,egg-laying-start,2022-04-21,\n\
            2022-04-20,B,Nonpareil,egg-laying-start,2022-04-12,\n\
            2022-07-02,B,Nonpareil,hull-split,,\n\
            2022-07-02,B,Nonpareil,hull-split,,\n";
        let faults = import(text).unwrap_err();
        let expected = [
            "row 2, column date",
            "row 3, column block",
            "row 4, column variety",
            "row 5, column kind",
            "row 6, column value",
            "row 7, column value",
            "row 8, column variety",
            "row 10, column kind",
        ];
        assert_eq!(faults.len(), expected.len(), "{faults:?}");
        for (fault, place) in faults.iter().zip(expected) {
            assert!(fault.starts_with(place), "{fault} is not about {place}");
        }
    }
}
