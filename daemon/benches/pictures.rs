//! How long a chart takes to become a picture: charts of the demo's farm, as stored with a mail.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use duskflight::chart::png;
use duskflight_core::contents::Chart;

const CHARTS: [(&str, &str); 3] = [
    ("heat", include_str!("../../tests/data/charts/heat.json")),
    (
        "catches",
        include_str!("../../tests/data/charts/catches.json"),
    ),
    (
        "glance",
        include_str!("../../tests/data/charts/glance.json"),
    ),
];

fn pictures(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("picture");
    for (name, stored) in CHARTS {
        let chart: Chart = serde_json::from_str(stored).expect("a chart");
        let bytes = png(&chart).expect("a picture").len();
        group.bench_function(format!("{name} of {bytes} bytes"), |bench| {
            bench.iter(|| black_box(png(&chart).expect("a picture")));
        });
    }
    group.finish();
}

criterion_group!(benches, pictures);
criterion_main!(benches);
