//! Records that cannot be used: the daemon stands still, keeps what is there, and says so by a mail that needs none.

use std::fs;
use std::path::PathBuf;

use chrono::TimeDelta;
use duskflight::clock::{Clock, SystemClock};

use crate::daemon::{in_the_small_hours, start};
use crate::harness::{Farm, VISITS, printed, refused};

/// A farm that was told a night, with a copy of its records.
fn told() -> Farm {
    let farm = Farm::new("2022-12-31");
    in_the_small_hours(&farm);
    farm.import("round.csv", VISITS);
    // So short a while ago that the clock needs no witness.
    let day = (SystemClock.now() - TimeDelta::days(2)).date_naive();
    // The station's table ends years before.
    let nightly = ["nightly", "--config", farm.config(), "--as-of"];
    refused(75, &[&nightly[..], &[&day.to_string()]].concat());
    farm
}

fn database(farm: &Farm) -> PathBuf {
    farm.path("duskflight.sqlite")
}

/// What stands in a mail's text part.
fn text(farm: &Farm, name: &str) -> String {
    let mail = fs::read_to_string(farm.path("mail").join(name)).unwrap();
    let text = mail.split("Content-Type: text/html").next().unwrap();
    text.replace("=\r\n", "").replace("\r\n", " ")
}

fn since(farm: &Farm, before: &[String]) -> Vec<String> {
    let mut mails = farm.mails();
    mails.retain(|name| !before.contains(name));
    mails
}

/// Has the daemon stand still until it has mailed so, and stop: that is all that it mailed.
fn stands_still(farm: &Farm, before: &[String]) -> String {
    let daemon = start(farm);
    daemon.looks_until("the standstill is mailed", || {
        !since(farm, before).is_empty()
    });
    daemon.stop("-TERM");
    let mails = since(farm, before);
    assert_eq!(mails.len(), 1, "{mails:?}");
    assert!(mails[0].contains("operator"), "{mails:?}");
    text(farm, &mails[0])
}

fn is_kept_and_told(what: &str, spoil: impl FnOnce(&mut Vec<u8>)) {
    let farm = told();
    let before = farm.mails();
    let mut bytes = fs::read(database(&farm)).unwrap();
    spoil(&mut bytes);
    fs::write(database(&farm), &bytes).unwrap();
    let mail = stands_still(&farm, &before);
    assert!(mail.contains("The database is damaged"), "{what}: {mail}");
    assert!(mail.contains("duskflight restore latest"), "{what}: {mail}");
    assert_eq!(fs::read(database(&farm)).unwrap(), bytes, "{what}");
    let said = refused(1, &["nightly", "--config", farm.config()]);
    assert!(said.contains("the database is damaged"), "{what}: {said}");
    assert_eq!(since(&farm, &before).len(), 1, "{what}");

    let restored = printed(&["restore", "latest", "--config", farm.config()]);
    assert!(
        restored.contains("nothing is missing"),
        "{what}: {restored}"
    );
    let daemon = start(&farm);
    daemon.looks_until("the digest is delivered", || {
        since(&farm, &before).len() > 1
    });
    daemon.stop("-TERM");
}

#[test]
fn a_database_with_a_spoilt_header_is_kept_and_told_about() {
    is_kept_and_told("header", |bytes| bytes[..16].fill(0xa5));
}

#[test]
fn a_database_with_a_spoilt_page_is_kept_and_told_about() {
    is_kept_and_told("page", |bytes| {
        let middle = bytes.len() / 4096 / 2 * 4096;
        bytes[middle..middle + 4096].fill(0xa5);
    });
}

#[test]
fn a_database_that_was_cut_short_is_kept_and_told_about() {
    is_kept_and_told("cut short", |bytes| bytes.truncate(bytes.len() / 2));
}

#[test]
fn damage_of_an_index_alone_is_found() {
    is_kept_and_told("index", |bytes| {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records.sqlite");
        fs::write(&path, &*bytes).unwrap();
        let database = rusqlite::Connection::open(&path).unwrap();
        // The index of one table in the place of another's.
        database
            .execute_batch(
                "PRAGMA writable_schema = on;
                 UPDATE sqlite_schema SET rootpage = (SELECT rootpage FROM sqlite_schema WHERE type = 'index'
                   AND tbl_name = 'fetch_log' LIMIT 1)
                 WHERE name = (SELECT name FROM sqlite_schema WHERE type = 'index' AND tbl_name = 'outbox' LIMIT 1);",
            )
            .unwrap();
        drop(database);
        *bytes = fs::read(&path).unwrap();
    });
}

#[test]
fn beside_a_damaged_database_its_log_of_writes_stays() {
    let farm = told();
    let (path, log) = (database(&farm), farm.path("duskflight.sqlite-wal"));
    // What a power cut leaves: writes that are in the log alone.
    let open = rusqlite::Connection::open(&path).unwrap();
    let insert = "INSERT INTO job_run VALUES ('heartbeat', '2022-06-01', 'done', 1, 0, 0, 0, NULL)";
    open.execute(insert, []).unwrap();
    let written = fs::read(&log).unwrap();
    drop(open);
    fs::write(&log, &written).unwrap();
    let mut bytes = fs::read(&path).unwrap();
    let pages = bytes.len() / 4096;
    // None of what the log has anew.
    for page in pages / 2..pages {
        bytes[page * 4096..(page + 1) * 4096].fill(0xa5);
    }
    fs::write(&path, &bytes).unwrap();
    let before = farm.mails();
    stands_still(&farm, &before);
    assert_eq!(fs::read(&path).unwrap(), bytes);
    assert_eq!(fs::read(&log).unwrap(), written);
}
