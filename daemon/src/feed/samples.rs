//! Samples of what feeds answer, and days as they are read from them, for the tests.

use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;

/// A sample by its path below `tests/data/feeds`.
pub(super) fn sample(path: &str) -> Vec<u8> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/data/feeds");
    std::fs::read(format!("{folder}/{path}")).unwrap()
}

/// A day without flags.
pub(super) fn day(date: &str, min: Option<f64>, max: Option<f64>, unit: Unit) -> ReceivedDay {
    ReceivedDay {
        date: date.parse().unwrap(),
        min,
        max,
        unit,
        min_flag: None,
        max_flag: None,
    }
}
