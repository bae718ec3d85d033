//! The daily heat of ten million station days, as a night works it out: single sine, 55 and 94 °F,
//! horizontal cutoff. `tests/bench/run` sets it beside numpy.

use criterion::{Criterion, criterion_group, criterion_main};
use duskflight_core::heat::{Cutoff, HeatModel, Method, Thresholds};
use duskflight_core::temperature::{Extremes, Temperature, Unit};

/// Station days in a run.
const DAYS: usize = 10_000_000;

/// Days of a Valley year over and over: a season's swing, and unrest that no run of days repeats. The
/// script beside the benchmark makes the same ones.
fn days() -> Vec<Extremes> {
    let f = |value| Temperature::new(value, Unit::Fahrenheit).expect("a finite number");
    (0..DAYS)
        .map(|day| {
            let day = day as f64;
            let season = (day * std::f64::consts::TAU / 365.25).sin();
            let unrest = 7.0 * (day * 0.7).sin() + 4.0 * (day * 0.23).cos();
            let mean = 63.0 + 17.0 * season + unrest;
            let half = 13.0 + 4.0 * season + 3.0 * (day * 1.3).sin();
            Extremes::new(f(mean - half), f(mean + half)).expect("the half range is above zero")
        })
        .collect()
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
