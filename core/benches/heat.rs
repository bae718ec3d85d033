//! The daily heat of ten million station days, as a night works it out: single sine, 55 and 94 °F,
//! horizontal cutoff. `tests/bench/run` sets it beside numpy.

use criterion::{Criterion, criterion_group, criterion_main};
use duskflight_core::heat::{Cutoff, HeatModel, Method, Thresholds};
use duskflight_core::temperature::{Extremes, Temperature, Unit};

/// Station days in a run.
const DAYS: usize = 10_000_000;

/// The demo's record, Merced airport from 1998 to 2023.
const RECORD: &str = include_str!("../../daemon/src/demo/merced.csv");

/// The days of the record on which both temperatures are known, over and over.
fn days() -> Vec<Extremes> {
    let day = |line: &str| {
        let mut cells = line.split(',').skip(1);
        let mut next = || Temperature::new(cells.next()?.parse().ok()?, Unit::Celsius);
        Extremes::new(next()?, next()?)
    };
    let known: Vec<Extremes> = RECORD.lines().filter_map(day).collect();
    known.iter().copied().cycle().take(DAYS).collect()
}

fn model() -> HeatModel {
    const DEFINED: &str = "55 °F is below 94 °F, and the sine has a cutoff";
    let f = |value| Temperature::new(value, Unit::Fahrenheit).expect(DEFINED);
    let thresholds = Thresholds::new(f(55.0), f(94.0)).expect(DEFINED);
    HeatModel::new(thresholds, Method::SingleSine, Cutoff::Horizontal).expect(DEFINED)
}

fn heat(c: &mut Criterion) {
    let (days, model) = (days(), model());
    let total = || -> f64 {
        let heat = days.iter().filter_map(|day| model.daily(*day, None));
        heat.map(|heat| heat.fahrenheit_days()).sum()
    };
    eprintln!("total {}", total());
    c.bench_function("daily heat of ten million days", |bench| bench.iter(total));
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(10);
    targets = heat
}
criterion_main!(benches);
