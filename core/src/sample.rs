//! What tests begin with: one almond block and what belongs to it.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use crate::id::{BlockId, PersonId, StationId, TrapId};
use crate::orchard::{Block, Crop, Dispensers, Regime, Trap, TrapKind, own_group};
use crate::trapping::{Note, NoteKind, Visit};

/// The conventional almond block `B` at station `S`, with its own egg traps' start.
pub(crate) fn block() -> Block {
    let id = BlockId::new("B").unwrap();
    Block {
        name: "Bench".into(),
        grower: PersonId::new("grower").unwrap(),
        adviser: PersonId::new("adviser").unwrap(),
        crop: Crop::Almond,
        acres: None,
        regime: Regime::Conventional,
        dispensers: Dispensers::default(),
        near: BTreeSet::new(),
        station: StationId::new("S").unwrap(),
        varieties: vec!["Nonpareil".into(), "Monterey".into()],
        start_group: own_group(&id),
        start_rule: None,
        id,
    }
}

/// A trap of the block `B`.
pub(crate) fn trap(id: &str, kind: TrapKind, hung: NaiveDate) -> Trap {
    Trap::new(TrapId::new(id).unwrap(), block().id, kind, hung)
}

/// A visit at which nothing was counted.
pub(crate) fn visit(trap: &str, date: NaiveDate) -> Visit {
    Visit::new(TrapId::new(trap).unwrap(), date)
}

/// A field note about the block `B` or one of its varieties.
pub(crate) fn note(date: NaiveDate, variety: Option<&str>, kind: NoteKind) -> Note {
    Note {
        block: block().id,
        variety: variety.map(str::to_owned),
        date,
        kind,
        text: String::new(),
        by: "adviser".into(),
    }
}
