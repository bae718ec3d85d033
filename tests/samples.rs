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

/// The samples in a temporary folder, so that they can be spoilt.
fn copied() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for folder in ["insects", "full"] {
        std::fs::create_dir(dir.path().join(folder)).unwrap();
        for entry in std::fs::read_dir(sample(folder)).unwrap() {
            let entry = entry.unwrap();
            let copy = dir.path().join(folder).join(entry.file_name());
            std::fs::copy(entry.path(), copy).unwrap();
        }
    }
    dir
}

/// The place of each key and table name in a TOML text.
fn keys(text: &str) -> Vec<std::ops::Range<usize>> {
    let mut keys = Vec::new();
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let code = line.split('#').next().unwrap();
        let key = match code.trim_start().strip_prefix('[') {
            // The last part of a table's name.
            Some(_) => code.trim().trim_matches(['[', ']']).rsplit('.').next(),
            None => code.split_once('=').map(|(key, _)| key.trim()),
        };
        if let Some(key) = key.filter(|key| !key.is_empty()) {
            let place = start + line.find(key).unwrap();
            // `[station.ncei]`: the part after the dot.
            let place = text[place..]
                .find(key)
                .map_or(place, |offset| place + offset);
            let place = line
                .rfind(&format!(".{key}]"))
                .map_or(place, |dot| start + dot + 1);
            keys.push(place..place + key.len());
        }
        start += line.len();
    }
    keys
}

#[test]
fn one_wrong_letter_in_any_key_of_the_full_sample_is_found_with_what_was_meant() {
    let dir = copied();
    let file = dir.path().join("full/duskflight.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let keys = keys(&text);
    assert!(keys.len() > 60, "{}", keys.len());
    for key in keys {
        let name = &text[key.clone()];
        let mut spoilt = text.clone();
        let last = key.end - 1..key.end;
        spoilt.replace_range(last, "x");
        std::fs::write(&file, &spoilt).unwrap();
        let line = 1 + text[..key.start].matches('\n').count();
        let error = Config::read(&dir.path().join("full"))
            .unwrap_err()
            .to_string();
        let meant = format!("did you mean {name:?}?");
        let place = format!("duskflight.toml:{line}: ");
        let found = error
            .lines()
            .any(|l| l.contains(&place) && l.contains(&meant));
        assert!(found, "{name} at line {line}:\n{error}");
    }
}

#[test]
fn one_wrong_letter_in_any_column_is_found_with_what_was_meant() {
    let dir = copied();
    for name in ["blocks.csv", "traps.csv"] {
        let file = dir.path().join("full").join(name);
        let text = std::fs::read_to_string(&file).unwrap();
        let (header, rows) = text.split_once('\n').unwrap();
        for column in header.split(',') {
            let spoilt: Vec<String> = header
                .split(',')
                .map(|other| match other == column {
                    true => format!("{}x", &other[..other.len() - 1]),
                    false => other.to_owned(),
                })
                .collect();
            std::fs::write(&file, format!("{}\n{rows}", spoilt.join(","))).unwrap();
            let error = Config::read(&dir.path().join("full"))
                .unwrap_err()
                .to_string();
            assert!(error.contains(&format!("{name}:1: ")), "{error}");
            assert!(
                error.contains(&format!("did you mean {column:?}?")),
                "{column}: {error}"
            );
        }
        std::fs::write(&file, text).unwrap();
    }
}
