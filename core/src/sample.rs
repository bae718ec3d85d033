//! What tests begin with: one almond block and what belongs to it.

use std::collections::BTreeSet;

use chrono::{NaiveDate, NaiveTime};

use crate::id::{BlockId, PersonId, ProductId, StationId, TrapId};
use crate::insect::{Insect, InsectFile};
use crate::orchard::{
    Block, Crop, Dispensers, Orchard, Part, Product, Regime, StartRule, Trap, TrapKind, own_group,
};
use crate::season::{BlockSeason, GroupStarts, KeptStarts, StationHeat, assess};
use crate::temperature::DegreeDays;
use crate::trapping::{Note, NoteKind, Notes, Visit, Visits};
use crate::weather::StationWeather;

/// The conventional almond block `B` at station `S`, with its own egg traps' start.
pub(crate) fn block() -> Block {
    let id = BlockId::new("B").unwrap();
    Block {
        name: "Bench".into(),
        grower: PersonId::new("grower").unwrap(),
        adviser: PersonId::new("adviser").unwrap(),
        advised_beside: Vec::new(),
        scouts: Vec::new(),
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
        entered_at: date.and_time(NaiveTime::MIN).and_utc(),
    }
}

/// The insect model that ships with the program, with the published rule, which needs no heat, and a first
/// brood that is never over, since the days made up for tests are as warm in winter as in summer.
pub(crate) fn insect() -> Insect {
    let text = include_str!("../../config/insects/navel-orangeworm.toml");
    let mut insect = toml::from_str::<InsectFile>(text).unwrap().check().unwrap();
    let start = insect.start.as_mut().unwrap();
    start.rule = StartRule::ShareRising;
    start.first_brood_until = DegreeDays::from_fahrenheit_days(10_000.0);
    insect
}

/// A product for each part, of so many days.
pub(crate) fn products(life_days: u16) -> Vec<Product> {
    let product = |part: Part| Product {
        id: ProductId::new(part.name()).unwrap(),
        part,
        life_days,
        source: "test".into(),
        area_cm2: None,
    };
    Part::ALL.map(product).into()
}

/// A trap of any block with a product of [`products`] in each part.
pub(crate) fn served_trap(id: &str, block: &str, kind: TrapKind, hung: NaiveDate) -> Trap {
    let parts = kind.parts().iter();
    Trap {
        block: BlockId::new(block).unwrap(),
        group: own_group(&BlockId::new(block).unwrap()),
        products: parts
            .map(|part| (*part, ProductId::new(part.name()).unwrap()))
            .collect(),
        ..trap(id, kind, hung)
    }
}

/// The season of the first block of an orchard, without any temperatures.
pub(crate) fn season(
    orchard: &Orchard,
    visits: Vec<Visit>,
    notes: &[Note],
    as_of: NaiveDate,
) -> BlockSeason {
    let block = &orchard.blocks()[0];
    let weather = StationWeather::alone(block.station.clone(), &[], as_of);
    let insect = insect();
    let heat = StationHeat::new(&weather, insect.heat);
    assess_alone(
        orchard,
        (block, &insect),
        &heat,
        &Visits::new(visits),
        &Notes::new(notes.to_vec()),
    )
}

/// The season of a block of an orchard that has one station.
pub(crate) fn assess_alone(
    orchard: &Orchard,
    (block, insect): (&Block, &Insect),
    heat: &StationHeat,
    visits: &Visits,
    notes: &Notes,
) -> BlockSeason {
    let heat_of = |_: &StationId| Some(heat);
    let records = (visits, notes, &KeptStarts::new());
    let starts = GroupStarts::read(orchard, insect, heat_of, records, heat.as_of());
    assess(orchard, block, insect, heat, &starts, visits, notes)
}
