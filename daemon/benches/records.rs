//! How long a file of 10,000 visits takes to import into empty records, checks, one transaction and its sync
//! to the disk included, and how long it takes when it is imported again.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate};
use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use duskflight::clock::{Clock, SetClock};
use duskflight::config::Config;
use duskflight::records::{Kind, Origin, import};
use duskflight::store::Store;
use tempfile::TempDir;

const TRAPS: usize = 200;
const DAYS: usize = 50;

/// The minimal sample with more traps.
fn farm() -> (TempDir, Config) {
    let dir = tempfile::tempdir().expect("a folder");
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config");
    let minimal = samples.join("minimal");
    let main = std::fs::read_to_string(minimal.join("duskflight.toml")).expect("the sample");
    let models = samples.join("insects").display().to_string();
    let main = main.replace("../insects", &models);
    std::fs::write(dir.path().join("duskflight.toml"), main).expect("the main file");
    let blocks = std::fs::read_to_string(minimal.join("blocks.csv")).expect("the sample");
    std::fs::write(dir.path().join("blocks.csv"), &blocks).expect("the blocks");
    let block = blocks.lines().nth(1).and_then(|row| row.split(',').next());
    let block = block.expect("the sample has a block");
    let mut traps = "id,block,kind,hung\n".to_owned();
    for trap in 0..TRAPS {
        writeln!(traps, "t{trap},{block},egg,2022-03-15").expect("memory");
    }
    std::fs::write(dir.path().join("traps.csv"), traps).expect("the traps");
    let config = Config::read(dir.path()).expect("the farm is right");
    (dir, config)
}

/// A sheet of visits, a row for each trap and day.
fn sheet() -> String {
    let mut text = "date,trap,eggs,readable,serviced,note\n".to_owned();
    let first = NaiveDate::from_ymd_opt(2022, 4, 1).expect("a day of the calendar");
    for (place, date) in first.iter_days().take(DAYS).enumerate() {
        for trap in 0..TRAPS {
            let serviced = if place % 14 == 0 { "bait" } else { "" };
            writeln!(
                text,
                "{date},t{trap},{},,{serviced},row {trap}",
                (trap + place) % 9
            )
            .expect("memory");
        }
    }
    text
}

fn ten_thousand_visits(criterion: &mut Criterion) {
    let (_dir, config) = farm();
    let text = sheet();
    let origin = Origin {
        file: "round.csv".to_owned(),
        by: "bench".to_owned(),
        sure: false,
    };
    let at = DateTime::from_timestamp(1_672_000_000, 0).expect("an instant");
    let clock: Arc<dyn Clock> = Arc::new(SetClock::at(at));
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    let empty = || {
        let dir = tempfile::tempdir().expect("a folder");
        let store = Store::create(&dir.path().join("duskflight.sqlite")).expect("records");
        (dir, store)
    };
    let bring_in = |store: &Store| {
        let imported = import(store, &config, Kind::Visits, &text, &origin, &clock);
        runtime.block_on(imported).expect("the sheet is right")
    };
    let mut group = criterion.benchmark_group("records");
    group.sample_size(20);
    group.throughput(Throughput::Elements((TRAPS * DAYS) as u64));
    group.bench_function("import 10,000 visits", |bench| {
        bench.iter_batched(
            empty,
            |(dir, store)| {
                assert_eq!(bring_in(&store).added, TRAPS * DAYS);
                (dir, store)
            },
            BatchSize::PerIteration,
        );
    });
    let (_records, store) = empty();
    bring_in(&store);
    group.bench_function("import them again", |bench| {
        bench.iter(|| assert_eq!(bring_in(&store).unchanged, TRAPS * DAYS));
    });
    group.finish();
}

criterion_group!(benches, ten_thousand_visits);
criterion_main!(benches);
