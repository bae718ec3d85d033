//! The samples under `config` are read by the very code that reads a farm's own.

use std::path::{Path, PathBuf};

use duskflight::config::Config;

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../config")
        .join(name)
}

#[test]
fn the_minimal_and_the_full_sample_are_right() {
    for name in ["minimal", "full"] {
        let config = Config::read(&sample(name));
        assert!(config.is_ok(), "{name}: {}", config.unwrap_err());
    }
}

#[test]
fn the_full_sample_writes_out_the_defaults_of_the_minimal_one() {
    let (minimal, full) = (
        Config::read(&sample("minimal")).unwrap(),
        Config::read(&sample("full")).unwrap(),
    );
    assert_eq!(minimal.season_from, full.season_from);
    assert_eq!(minimal.season_to, full.season_to);
    assert_eq!(minimal.digest_time, full.digest_time);
    assert_eq!(minimal.hold_hours, full.hold_hours);
    assert_eq!(minimal.near_days, full.near_days);
    assert_eq!(minimal.words, full.words);
    assert_eq!(minimal.mail_from.name, full.mail_from.name);
    assert_eq!(minimal.stations[0], full.stations[0]);
}

#[test]
fn a_later_row_of_a_block_supersedes_the_earlier_one_from_its_day_on() {
    let config = Config::read(&sample("full")).unwrap();
    let regime_on = |day: &str| {
        let orchard = config.orchard_on(day.parse().unwrap());
        let ridge = orchard
            .blocks()
            .iter()
            .find(|block| block.id.as_str() == "ridge")
            .unwrap();
        (ridge.regime.to_string(), orchard.blocks().len())
    };
    assert_eq!(regime_on("2026-03-31"), ("conventional".to_owned(), 3));
    assert_eq!(regime_on("2026-04-01"), ("mating disruption".to_owned(), 3));
}
