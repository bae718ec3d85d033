//! The stops of a round as rows of a form, with what was typed and what became of it.

use duskflight_core::contents::{RoundSheet, Stop};
use duskflight_core::orchard::{Block, Trap, TrapKind};

use super::enter::Became;
use super::typed::{Typed, TypedTrap};

/// A stop.
pub(super) struct FormStop {
    pub(super) trap: String,
    pub(super) kind: &'static str,
    pub(super) block: String,
    pub(super) place: String,
    pub(super) remark: String,
    /// What is to be said of the reading, and the last one.
    pub(super) reading: String,
    pub(super) last: String,
    pub(super) counts: Vec<CountField>,
    pub(super) parts: Vec<PartField>,
    pub(super) is_egg_trap: bool,
    pub(super) unreadable: bool,
    pub(super) left: bool,
    pub(super) note: String,
    /// Why it was not stored.
    pub(super) why: Option<String>,
    pub(super) is_asked: bool,
}

pub(super) struct CountField {
    pub(super) column: String,
    pub(super) typed: String,
}

pub(super) struct PartField {
    pub(super) part: &'static str,
    pub(super) words: &'static str,
    /// The product to put in and why, where it is to be changed.
    pub(super) change: Option<String>,
    pub(super) is_ticked: bool,
}

/// The stops in walking order. What was stored is blank again, so that it is not entered twice.
pub(super) fn stops(sheet: &RoundSheet, typed: &Typed, rows: &[Became]) -> Vec<FormStop> {
    let nothing = TypedTrap::default();
    let stop = |stop: &Stop| {
        let row = rows.iter().find(|row| row.trap == stop.trap);
        let is_open = row.is_some_and(|row| !row.is_stored());
        let typed = typed.traps.get(&stop.trap).filter(|_| is_open);
        form_stop(sheet, stop, typed.unwrap_or(&nothing), row)
    };
    sheet.stops.iter().map(stop).collect()
}

/// What was typed and not stored at a trap that is not on the sheet: somebody else has read it meanwhile, or it was typed
/// into a page of earlier. It stays in sight, to be put right. `hung` is the trap with its block, where there is one.
pub(super) fn beside_the_sheet(
    row: &Became,
    typed: &TypedTrap,
    hung: Option<(&Trap, &Block)>,
) -> FormStop {
    let counts = typed.counts.iter();
    FormStop {
        trap: row.trap.to_string(),
        kind: hung.map_or("trap", |(trap, _)| trap.kind.name()),
        block: hung.map_or_else(String::new, |(_, block)| block.name.clone()),
        place: String::new(),
        remark: String::new(),
        reading: "not on this round any more".to_owned(),
        last: String::new(),
        counts: counts
            .map(|(column, typed)| CountField {
                column: column.clone(),
                typed: typed.clone(),
            })
            .collect(),
        parts: typed
            .parts
            .iter()
            .map(|part| PartField {
                part: part.name(),
                words: part.words(),
                change: None,
                is_ticked: true,
            })
            .collect(),
        is_egg_trap: hung.is_some_and(|(trap, _)| trap.kind == TrapKind::Egg),
        unreadable: typed.unreadable,
        left: typed.left,
        note: typed.note.clone(),
        why: row.why.clone(),
        is_asked: row.is_asked,
    }
}

fn form_stop(sheet: &RoundSheet, stop: &Stop, typed: &TypedTrap, row: Option<&Became>) -> FormStop {
    FormStop {
        trap: stop.trap.to_string(),
        kind: stop.kind.name(),
        block: stop.block.clone(),
        place: sheet.speech.place(&stop.place),
        remark: stop.place.remark.clone(),
        reading: stop.unusual.join("; "),
        last: stop.last.clone(),
        counts: stop
            .counts
            .iter()
            .map(|column| count(column, typed))
            .collect(),
        parts: stop
            .parts
            .iter()
            .map(|of| PartField {
                part: of.part.name(),
                words: of.part.words(),
                change: of
                    .change
                    .as_ref()
                    .map(|change| format!("{}, {}", change.product, change.why)),
                is_ticked: typed.parts.contains(&of.part),
            })
            .collect(),
        is_egg_trap: stop.kind == TrapKind::Egg,
        unreadable: typed.unreadable,
        left: typed.left,
        note: typed.note.clone(),
        why: row.and_then(|row| row.why.clone()),
        is_asked: row.is_some_and(|row| row.is_asked),
    }
}

fn count(column: &'static str, typed: &TypedTrap) -> CountField {
    CountField {
        column: column.to_owned(),
        typed: typed.counts.get(column).cloned().unwrap_or_default(),
    }
}
