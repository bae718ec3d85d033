//! The samples under `config` are read by the very code that reads a farm's own.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use duskflight::config::{Config, MailRoute, Patience, Proof, Security};
use duskflight_core::orchard::Crop;

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
    assert_eq!(minimal.off_season_day, full.off_season_day);
    assert_eq!(minimal.most_mails_a_day, full.most_mails_a_day);
    assert_eq!(minimal.words, full.words);
    assert_eq!(minimal.mail_from.name, full.mail_from.name);
    assert!(minimal.drop_folder.is_none());
    let by = |config: &Config| config.drop_folder.as_ref().map(|folder| folder.by.clone());
    assert_eq!(by(&full), by(&without_line("drop_by")));
    let [minimal, full] = [&minimal.stations[0], &full.stations[0]];
    assert_eq!(minimal.source, full.source);
    assert_eq!(minimal.history_years, full.history_years);
    assert_eq!(minimal.facts.day_boundary, full.facts.day_boundary);
}

#[test]
fn a_distance_at_its_old_place_is_refused_with_the_new_one() {
    let dir = copied();
    let file = dir.path().join("full/duskflight.toml");
    let text = fs::read_to_string(&file).unwrap();
    let old = text.replace("[telling]\n", "[telling]\nnear_days = 10\n");
    fs::write(&file, old).unwrap();
    let refused = Config::read(&dir.path().join("full")).unwrap_err();
    assert_eq!(refused.problems.len(), 1, "{refused}");
    assert!(refused.problems[0].line.is_some());
    let what = &refused.problems[0].what;
    let said =
        "telling.near_days stands in the insect files now, for each insect: near = { days = [14] }";
    assert!(what.starts_with(said), "{what}");
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
    assert_eq!(regime_on("2026-03-31"), ("conventional".to_owned(), 5));
    assert_eq!(regime_on("2026-04-01"), ("mating disruption".to_owned(), 5));
    // What superseded it does not make the earlier row forgotten.
    let orchard = config.orchard_on("2026-06-01".parse().unwrap());
    let ridge = "ridge".parse().unwrap();
    let before = orchard.block_on(&ridge, "2025-06-01".parse().unwrap());
    assert_eq!(before.unwrap().regime.to_string(), "conventional");
}

#[test]
fn the_full_sample_has_a_block_of_every_crop_and_each_its_own_model() {
    let config = Config::read(&sample("full")).unwrap();
    let orchard = config.orchard_on("2026-06-01".parse().unwrap());
    for crop in [Crop::Almond, Crop::Pistachio, Crop::Walnut] {
        assert!(orchard.blocks().iter().any(|block| block.crop == crop));
        let models = config.insects.iter();
        let of_crop = models.filter(|insect| insect.crops.contains(&crop));
        assert_eq!(of_crop.count(), 1, "{crop}");
    }
}

/// The samples in a temporary folder, so that they can be spoilt.
fn copied() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for folder in ["insects", "full"] {
        fs::create_dir(dir.path().join(folder)).unwrap();
        for entry in fs::read_dir(sample(folder)).unwrap() {
            let entry = entry.unwrap();
            let copy = dir.path().join(folder).join(entry.file_name());
            fs::copy(entry.path(), copy).unwrap();
        }
    }
    // What the sample's mail server names.
    let authority = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data/mail/authority.pem");
    fs::copy(authority, dir.path().join("full/authority.pem")).unwrap();
    fs::write(
        dir.path().join("full/smtp-password"),
        "abcd efgh ijkl mnop\n",
    )
    .unwrap();
    fs::write(dir.path().join("full/imap-password"), "secret\n").unwrap();
    dir
}

/// The full sample without the line of a key.
fn without_line(key: &str) -> Config {
    let dir = copied();
    let folder = dir.path().join("full");
    let file = folder.join("duskflight.toml");
    let text = fs::read_to_string(&file).unwrap();
    let lines = text.lines().filter(|line| !line.starts_with(key));
    let lines: Vec<&str> = lines.collect();
    assert!(lines.len() < text.lines().count());
    fs::write(&file, lines.join("\n")).unwrap();
    Config::read(&folder).unwrap()
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
    let folder = dir.path().join("full");
    let file = folder.join("duskflight.toml");
    let with_folder = fs::read_to_string(&file).unwrap();
    let with_server = with_mail_server(&with_folder);
    assert!(keys(&with_server).len() > keys(&with_folder).len());
    assert!(keys(&with_folder).len() > 60);
    let with_mailbox = unmarked(&with_folder, "inbox.imap");
    for text in [with_folder, with_server, with_mailbox] {
        for key in keys(&text) {
            let name = &text[key.clone()];
            let mut spoilt = text.clone();
            spoilt.replace_range(key.end - 1..key.end, "q");
            fs::write(&file, &spoilt).unwrap();
            let line = 1 + text[..key.start].matches('\n').count();
            let error = Config::read(&folder).unwrap_err().to_string();
            let meant = format!("did you mean {name:?}?");
            let place = format!("duskflight.toml:{line}: ");
            let mut lines = error.lines();
            let found = lines.any(|line| line.contains(&place) && line.contains(&meant));
            assert!(found, "{name} at line {line}:\n{error}");
        }
    }
}

#[test]
fn one_wrong_letter_in_any_column_is_found_with_what_was_meant() {
    let dir = copied();
    for name in ["blocks.csv", "traps.csv"] {
        let file = dir.path().join("full").join(name);
        let text = fs::read_to_string(&file).unwrap();
        let (header, rows) = text.split_once('\n').unwrap();
        for column in header.split(',') {
            let spoilt: Vec<String> = header
                .split(',')
                .map(|other| match other == column {
                    true => format!("{}x", &other[..other.len() - 1]),
                    false => other.to_owned(),
                })
                .collect();
            fs::write(&file, format!("{}\n{rows}", spoilt.join(","))).unwrap();
            let error = Config::read(&dir.path().join("full"))
                .unwrap_err()
                .to_string();
            assert!(error.contains(&format!("{name}:1: ")), "{error}");
            assert!(
                error.contains(&format!("did you mean {column:?}?")),
                "{column}: {error}"
            );
        }
        fs::write(&file, text).unwrap();
    }
}

/// The full sample with its mail server instead of the folder.
fn with_mail_server(text: &str) -> String {
    let (before, after) = text.split_once("\n[mail]\n").unwrap();
    let (mail, after) = after.split_once("\n\n").unwrap();
    let mail: String = mail
        .lines()
        .filter(|line| !line.starts_with("folder"))
        .fold(String::new(), |text, line| text + line + "\n");
    unmarked(&format!("{before}\n[mail]\n{mail}\n{after}"), "mail.smtp")
}

/// A sample with the marks before the lines of a table taken out.
fn unmarked(text: &str, table: &str) -> String {
    let (before, part) = text.split_once(&format!("# [{table}]")).unwrap();
    let (part, after) = part.split_once("\n\n").unwrap();
    let part = part.replace("\n# ", "\n");
    format!("{before}[{table}]{part}\n\n{after}")
}

#[test]
fn the_mailbox_in_the_full_sample_is_right_once_its_marks_are_taken_out() {
    let dir = copied();
    let config = dir.path().join("full");
    let file = config.join("duskflight.toml");
    let text = fs::read_to_string(&file).unwrap();
    fs::write(&file, unmarked(&text, "inbox.imap")).unwrap();

    let server = Config::read(&config).unwrap().inbox.unwrap().imap.unwrap();
    assert_eq!((server.port, server.security), (993, Security::Tls));
    let folders = (server.folder.as_str(), server.done_folder.as_str());
    assert_eq!(folders, ("INBOX", "Duskflight"));
    assert!(server.ca.is_some() && matches!(server.proof, Proof::Password(Ok(_))));
    assert_eq!(server.patience, Duration::from_secs(60));
}

#[test]
fn the_mail_server_in_the_full_sample_is_right_once_its_marks_are_taken_out() {
    let dir = copied();
    let config = dir.path().join("full");
    let file = config.join("duskflight.toml");
    let text = fs::read_to_string(&file).unwrap();
    fs::write(&file, with_mail_server(&text)).unwrap();

    let config = Config::read(&config).unwrap();
    let MailRoute::Smtp(server) = &config.mail_route else {
        panic!("{:?}", config.mail_route);
    };
    assert_eq!((server.port, server.security), (587, Security::Starttls));
    assert_eq!(server.patience, Patience::default());
    assert!(server.ca.is_some());
    let login = server.login.as_ref().unwrap();
    assert_eq!(
        login.password.as_ref().unwrap().expose(),
        "abcdefghijklmnop"
    );
    assert!(!format!("{config:?}").contains("abcd"));
}
