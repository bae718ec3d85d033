//! Nights of the farm of `tests/bench/farm.py`: 10,000 blocks on 200 stations with 30 past years. On the
//! next one the ledger holds what the first one told; before the thousandth 20,000 mails were sent. The
//! folder is named by DUSKFLIGHT_BENCH_FARM; `tests/bench/run` writes it, sets the first night beside
//! pandas and prints all.

use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, NaiveDate};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use duskflight::config::Config;
use duskflight::store::{Store, StoreError};
use duskflight::telling::{night, tell};
use tempfile::TempDir;

/// The morning of the first night.
const DAY: NaiveDate = NaiveDate::from_ymd_opt(2022, 6, 20).expect("a day of the calendar");
/// The morning of the second.
const NEXT_DAY: NaiveDate = NaiveDate::from_ymd_opt(2022, 6, 21).expect("a day of the calendar");

/// A copy of the records, so that a night finds them as they were; the copy also warms the page cache.
fn copy(records: &Path) -> (TempDir, Store) {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("duskflight.sqlite");
    std::fs::copy(records, &path).expect("the records are copied");
    let store = Store::create(&path).expect("the records open");
    (dir, store)
}

fn whole_night(criterion: &mut Criterion) {
    let Some(farm) = std::env::var_os("DUSKFLIGHT_BENCH_FARM").map(PathBuf::from) else {
        eprintln!("DUSKFLIGHT_BENCH_FARM names no farm; see tests/bench/run");
        return;
    };
    let config = Arc::new(Config::read(&farm).expect("the farm's configuration"));
    let records = farm.join("duskflight.sqlite");
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    let now = DateTime::from_timestamp(1_655_730_000, 0).expect("an instant");
    let mut group = criterion.benchmark_group("night");
    group
        .sample_size(10)
        .measurement_time(Duration::from_secs(30));
    group.bench_function("load, assess, project", |bench| {
        bench.iter_batched(
            || copy(&records),
            |(dir, store)| {
                let config = Arc::clone(&config);
                let look = store.read(move |c| night(c, &config, DAY));
                let night: Result<_, StoreError> = runtime.block_on(look);
                black_box((dir, night.expect("the night").seasons.len()))
            },
            BatchSize::PerIteration,
        );
    });
    group.bench_function("the same, decide, compose, write", |bench| {
        bench.iter_batched(
            || copy(&records),
            |(dir, store)| {
                let told = runtime.block_on(tell(&store, &config, DAY, false, now));
                black_box((dir, told.expect("the night is told")))
            },
            BatchSize::PerIteration,
        );
    });
    let archive = farm.join("thousandth.sqlite");
    group.bench_function("the thousandth night", |bench| {
        bench.iter_batched(
            || copy(&archive),
            |(dir, store)| {
                let told = runtime.block_on(tell(&store, &config, DAY, false, now));
                black_box((dir, told.expect("the night is told")))
            },
            BatchSize::PerIteration,
        );
    });
    group.bench_function("the next night", |bench| {
        bench.iter_batched(
            || {
                let (dir, store) = copy(&records);
                let told = runtime.block_on(tell(&store, &config, DAY, false, now));
                told.expect("the first night is told");
                (dir, store)
            },
            |(dir, store)| {
                let told = runtime.block_on(tell(&store, &config, NEXT_DAY, false, now));
                black_box((dir, told.expect("the next night is told")))
            },
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

criterion_group!(benches, whole_night);
criterion_main!(benches);
