//! The replay of a stretch of days: the mails that went, on a database that nobody notices being read.

use std::collections::{BTreeMap, BTreeSet};

use duskflight::runner::Lock;
use serde_json::Value;

use crate::harness::{Farm, VISITS, printed, refused, rows};

const DAYS: [&str; 6] = [
    "2022-04-16",
    "2022-04-17",
    "2022-04-18",
    "2022-04-19",
    "2022-04-20",
    "2022-04-21",
];

/// A farm whose days were told one after the other, each from what was entered before it.
fn told_day_by_day() -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    for day in DAYS {
        farm.nightly(day);
    }
    farm
}

fn replayed(farm: &Farm, arguments: &[&str]) -> Vec<Value> {
    let stretch = [
        "replay",
        "--config",
        farm.config(),
        "--from",
        DAYS[0],
        "--to",
        DAYS[5],
        "--json",
    ];
    let text = printed(&[&stretch, arguments].concat());
    serde_json::from_str(&text).unwrap()
}

fn text<'a>(mail: &'a Value, key: &str) -> &'a str {
    mail[key].as_str().unwrap()
}

#[test]
fn days_told_with_nothing_late_replay_to_the_very_mails_that_went() {
    let farm = told_day_by_day();
    let mails = replayed(&farm, &[]);
    let of_replay: Vec<Vec<String>> = mails
        .iter()
        .map(|mail| {
            ["day", "kind", "person", "subject"]
                .map(|key| text(mail, key).to_owned())
                .to_vec()
        })
        .collect();
    let went = rows(
        &farm.database(),
        "SELECT day, kind, person, subject FROM outbox ORDER BY rowid",
    );
    assert_eq!(of_replay, went);
    assert!(went.iter().any(|mail| mail[1] == "alert"), "{went:?}");

    let news: BTreeSet<Vec<String>> = mails
        .iter()
        .flat_map(|mail| {
            let head = ["day", "person"].map(|key| text(mail, key).to_owned());
            let news = mail["news"].as_array().unwrap().iter();
            news.map(move |news| {
                let told = ["block", "event", "change"].map(|key| text(news, key).to_owned());
                [&head[..], &told[..]].concat()
            })
        })
        .filter(|news| news[4] != "history")
        .collect();
    let ledger = "SELECT day, person, block, event, change FROM told WHERE change != 'history'";
    assert_eq!(news, rows(&farm.database(), ledger).into_iter().collect());
}

#[test]
fn alerts_leave_after_the_hold_time_in_a_replay() {
    let farm = told_day_by_day();
    let hours: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    let hours = replayed(&farm, &[]).iter().fold(hours, |mut hours, mail| {
        let kind = if text(mail, "kind") == "alert" {
            "alert"
        } else {
            "digest"
        };
        let (_, hour) = text(mail, "leaves").split_once('T').unwrap();
        hours.entry(kind).or_default().insert(hour.to_owned());
        hours
    });
    assert_eq!(
        hours["digest"],
        BTreeSet::from(["06:00:00-07:00".to_owned()])
    );
    assert_eq!(
        hours["alert"],
        BTreeSet::from(["10:00:00-07:00".to_owned()])
    );
}

#[test]
fn a_correction_stands_in_a_replay_with_its_reason_and_counts_against_the_alert_it_corrects() {
    let farm = told_day_by_day();
    // The check of 12 April is taken back on the morning of the 19th: the start goes, and the hatch.
    farm.import(
        "later.csv",
        "date,trap,eggs\n2022-04-18,e1,0\n2022-04-18,e2,0\n2022-04-18,e3,0\n",
    );
    let note =
        "block,kind,date,value,note\nhome,egg-laying-start,2022-04-19,2022-04-08,seen on mummies\n";
    farm.write("notes.csv", note);
    let sheet = farm.path("notes.csv");
    printed(&[
        "notes",
        "import",
        sheet.to_str().unwrap(),
        "--config",
        farm.config(),
    ]);
    let mails = replayed(&farm, &["--person", "gil"]);
    let corrections: Vec<&Value> = mails
        .iter()
        .flat_map(|mail| mail["news"].as_array().unwrap())
        .filter(|news| text(news, "change") == "corrected")
        .collect();
    assert!(!corrections.is_empty(), "{mails:#?}");
    assert!(mails.iter().all(|mail| text(mail, "person") == "gil"));
    let summary = printed(&[
        "replay",
        "--config",
        farm.config(),
        "--from",
        DAYS[0],
        "--to",
        DAYS[5],
        "--summary",
    ]);
    assert!(
        summary.contains("corrected or withdrawn later: 1 of "),
        "{summary}"
    );
    assert!(
        summary.contains("Told from what is recorded now"),
        "{summary}"
    );
}

/// Every file of the farm but the index of the log, in which each reader leaves marks.
fn files(farm: &Farm) -> BTreeMap<String, Vec<u8>> {
    fn walk(folder: &std::path::Path, found: &mut BTreeMap<String, Vec<u8>>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            match path.is_dir() {
                true => walk(&path, found),
                false => {
                    let name = path.to_str().unwrap().to_owned();
                    found.insert(name, std::fs::read(&path).unwrap());
                }
            }
        }
    }
    let mut found = BTreeMap::new();
    walk(&farm.path(""), &mut found);
    found.retain(|name, _| !name.ends_with("-shm"));
    found
}

#[test]
fn a_replay_leaves_every_file_as_it_was() {
    let farm = told_day_by_day();
    // With what the last command left beside the database, and after it was closed in good order.
    for _ in 0..2 {
        let before = files(&farm);
        assert!(!replayed(&farm, &[]).is_empty());
        assert_eq!(files(&farm), before);
        rows(&farm.database(), "SELECT count(*) FROM told");
    }
    assert!(!files(&farm).keys().any(|name| name.ends_with("-wal")));
}

#[test]
fn a_replay_runs_beside_a_daemon_that_is_in_the_middle_of_writing() {
    let farm = told_day_by_day();
    let alone = replayed(&farm, &[]);
    let _lock = Lock::take(&farm.path("duskflight.sqlite")).unwrap();
    let writer = farm.database();
    writer
        .execute_batch("BEGIN IMMEDIATE; DELETE FROM visit")
        .unwrap();
    let watcher = farm.database();
    let version = || rows(&watcher, "PRAGMA data_version");
    let (before, seen) = (files(&farm), version());
    assert_eq!(replayed(&farm, &[]), alone);
    assert_eq!((files(&farm), version()), (before, seen));
    writer.execute_batch("ROLLBACK").unwrap();
}

#[test]
fn a_stretch_must_run_forwards_and_not_beyond_today() {
    let farm = Farm::new("2022-04-30");
    for (from, to) in [("2022-04-17", "2022-04-16"), ("2022-04-16", "2999-01-01")] {
        let said = refused(
            2,
            &[
                "replay",
                "--config",
                farm.config(),
                "--from",
                from,
                "--to",
                to,
            ],
        );
        assert!(said.contains("name days in their order"), "{said}");
    }
    // Records that are not there are missed, and a replay does not begin any.
    std::fs::remove_file(farm.path("duskflight.sqlite")).unwrap();
    let said = refused(
        1,
        &[
            "replay",
            "--config",
            farm.config(),
            "--from",
            "2022-04-16",
            "--to",
            "2022-04-16",
        ],
    );
    assert!(said.contains("find the database"), "{said}");
    assert!(!farm.path("duskflight.sqlite").exists());
}
