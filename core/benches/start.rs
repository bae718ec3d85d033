//! The egg-laying start of one group of six traps and thirty checks, as a night works it out.

use std::collections::BTreeSet;
use std::hint::black_box;

use chrono::{Days, NaiveDate};
use criterion::{Criterion, criterion_group, criterion_main};
use duskflight_core::heat::HeatSeries;
use duskflight_core::id::{BlockId, PersonId, StationId, TrapId};
use duskflight_core::insect::InsectFile;
use duskflight_core::orchard::{
    Block, Crop, Dispensers, Orchard, Regime, Trap, TrapKind, own_group,
};
use duskflight_core::temperature::Unit;
use duskflight_core::trapping::{Notes, StartView, Visit, Visits, start_of_group};
use duskflight_core::weather::{ReceivedDay, StationWeather};

const TRAPS: u64 = 6;
const CHECKS: u64 = 30;
/// Eggs on every trap, by check.
type Eggs = fn(u64) -> u32;

/// A season whose start is confirmed, one without eggs, and one that stays
/// awaited after an early stray on every trap, so that every check after it is weighed.
const SEASONS: [(&str, Eggs); 3] = [
    ("confirmed", |check| if check < 10 { 0 } else { 4 }),
    ("without eggs", |_| 0),
    ("still awaited", |check| u32::from(check == 2)),
];

/// The demo's record, Merced airport from 1998 to 2023.
const RECORD: &str = include_str!("../../daemon/src/demo/merced.csv");
const INSECT: &str = include_str!("../../config/insects/navel-orangeworm.toml");
const SOUND: &str = "what is written here is sound";

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).expect(SOUND)
}

fn received() -> Vec<ReceivedDay> {
    let read = |line: &str| {
        let mut cells = line.split(',');
        Some(ReceivedDay {
            date: cells.next()?.parse().ok()?,
            min: cells.next()?.parse().ok(),
            max: cells.next()?.parse().ok(),
            unit: Unit::Celsius,
            min_flag: None,
            max_flag: None,
        })
    };
    RECORD.lines().filter_map(read).collect()
}

fn block() -> Block {
    let id = BlockId::new("B").expect(SOUND);
    let person = || PersonId::new("ada").expect(SOUND);
    Block {
        name: "Bench".into(),
        grower: person(),
        adviser: person(),
        advised_beside: Vec::new(),
        scouts: Vec::new(),
        crop: Crop::Almond,
        acres: None,
        regime: Regime::Conventional,
        dispensers: Dispensers::default(),
        near: BTreeSet::new(),
        station: StationId::new("S").expect(SOUND),
        varieties: Vec::new(),
        start_group: own_group(&id),
        start_rule: None,
        id,
    }
}

/// Twice a week from 12 March, every trap with as many eggs.
fn visits(eggs: Eggs) -> Visits {
    let of_trap = |trap: u64| {
        (0..CHECKS).map(move |check| Visit {
            eggs: Some(eggs(check)),
            ..Visit::new(id_of(trap), day(3, 12) + Days::new(check * 7 / 2))
        })
    };
    Visits::new((0..TRAPS).flat_map(of_trap).collect())
}

fn id_of(trap: u64) -> TrapId {
    TrapId::new(&format!("E{trap}")).expect(SOUND)
}

fn starts(c: &mut Criterion) {
    let insect = toml::from_str::<InsectFile>(INSECT).expect(SOUND);
    let insect = insect.check().expect(SOUND);
    let as_of = day(6, 25);
    let weather = StationWeather::alone(StationId::new("S").expect(SOUND), &received(), as_of);
    let heat = HeatSeries::new(weather.series().expect(SOUND), insect.heat);
    let block = block();
    let hang = |trap| Trap::new(id_of(trap), block.id.clone(), TrapKind::Egg, day(3, 8));
    let traps = (0..TRAPS).map(hang).collect();
    let orchard = Orchard::new(vec![block.clone()], traps, Vec::new());
    for (name, eggs) in SEASONS {
        let (visits, notes) = (visits(eggs), Notes::default());
        let view = StartView {
            model: insect.start.as_ref().expect(SOUND),
            visits: &visits,
            notes: &notes,
            as_of,
        };
        let group = &block.start_group;
        let start = || start_of_group(&orchard, &block, group, (Some(&heat), None), view).start;
        let estimate = start().evidence.estimate.expect(SOUND);
        eprintln!("{name}: {} {:?}", estimate.chance, estimate.days);
        c.bench_function(&format!("start of a group, {name}"), |bench| {
            bench.iter(|| black_box(start()));
        });
    }
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20);
    targets = starts
}
criterion_main!(benches);
