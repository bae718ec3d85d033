//! How long the demo takes to play a whole season: 245 nights of fetching over HTTP, recomputing,
//! telling and delivering, with a database that syncs every commit to the disk.

use criterion::{Criterion, criterion_group, criterion_main};
use duskflight::demo::{DemoError, Observer, play};
use duskflight::runner::jobs::Workshop;

struct Nobody;

impl Observer for Nobody {
    async fn night(&mut self, _: chrono::NaiveDate, _: &Workshop) -> Result<(), DemoError> {
        Ok(())
    }
}

fn season(criterion: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    let mut group = criterion.benchmark_group("demo");
    group.sample_size(10);
    group.bench_function("season of 2022", |bench| {
        bench.iter(|| {
            let dir = tempfile::tempdir().expect("a folder");
            runtime
                .block_on(play(dir.path(), 2022, &mut Nobody))
                .expect("the season plays")
        });
    });
    group.finish();
}

criterion_group!(benches, season);
criterion_main!(benches);
