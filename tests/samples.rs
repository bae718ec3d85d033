//! The samples under `config` are read by the very code that reads a farm's own.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use duskflight::config::{Config, MailRoute, Security};

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

#[test]
fn the_mail_server_in_the_full_sample_is_right_once_its_marks_are_taken_out() {
    let dir = tempfile::tempdir().unwrap();
    let config = dir.path().join("full");
    let copy = |from: PathBuf, to: PathBuf| fs::copy(from, to).unwrap();
    fs::create_dir_all(&config).unwrap();
    fs::create_dir_all(dir.path().join("insects")).unwrap();
    for name in [
        "full/blocks.csv",
        "full/traps.csv",
        "insects/navel-orangeworm.toml",
    ] {
        copy(sample(name), dir.path().join(name));
    }
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data/mail/authority.pem");
    copy(data, config.join("authority.pem"));
    fs::write(config.join("smtp-password"), "abcd efgh ijkl mnop\n").unwrap();
    let text = fs::read_to_string(sample("full/duskflight.toml")).unwrap();
    let (before, smtp) = text.split_once("# [mail.smtp]").unwrap();
    let (smtp, after) = smtp.split_once("\n\n").unwrap();
    let before: String = before
        .lines()
        .filter(|line| !line.starts_with("folder"))
        .fold(String::new(), |text, line| text + line + "\n");
    let smtp = smtp.replace("\n# ", "\n");
    fs::write(
        config.join("duskflight.toml"),
        format!("{before}[mail.smtp]{smtp}\n\n{after}"),
    )
    .unwrap();

    let config = Config::read(&config).unwrap();
    let MailRoute::Smtp(server) = &config.mail_route else {
        panic!("{:?}", config.mail_route);
    };
    assert_eq!((server.port, server.security), (587, Security::Starttls));
    assert_eq!(server.timeout, Duration::from_secs(60));
    assert!(server.ca.is_some());
    let login = server.login.as_ref().unwrap();
    assert_eq!(
        login.password.as_ref().unwrap().expose(),
        "abcdefghijklmnop"
    );
    assert!(!format!("{config:?}").contains("abcd"));
}
