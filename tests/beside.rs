//! Others at the records while the program works: sheets brought in by the thousand, and one who reads all night.

use std::fs;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use chrono::{Days, NaiveDate};
use rusqlite::{Connection, OpenFlags};

use crate::daemon::{in_the_small_hours, start};
use crate::harness::{Farm, VISITS, rows, run};

/// Each of so many readings is a sheet of its own.
const ROUNDS: usize = 500;

/// A reading for each round; no two are of one trap and day.
fn reading(round: usize) -> (String, String, String) {
    let first = NaiveDate::from_ymd_opt(2022, 3, 20).unwrap();
    let day = first + Days::new(round as u64 / 4);
    let trap = format!("e{}", round % 4 + 1);
    (trap, day.to_string(), (round % 7).to_string())
}

/// Brings in one sheet after the other until each is accepted; gives how often one had to come again.
fn import_all(farm: &Farm, before_each: impl Fn()) -> usize {
    let mut again = 0;
    for round in 0..ROUNDS {
        before_each();
        let (trap, day, eggs) = reading(round);
        farm.write(
            "sheet.csv",
            &format!("date,trap,eggs\n{day},{trap},{eggs}\n"),
        );
        let sheet = farm.path("sheet.csv");
        let sheet = sheet.to_str().unwrap();
        let import = ["visits", "import", sheet, "--config", farm.config()];
        loop {
            let ended = run(&import);
            match ended.status.code() {
                Some(0) => break,
                // Locked: the same again later.
                Some(75) => again += 1,
                code => panic!("{code:?}: {}", String::from_utf8_lossy(&ended.stderr)),
            }
        }
    }
    again
}

/// Each reading is there as it was accepted, once.
fn all_are_there(farm: &Farm) {
    let found = rows(
        &farm.database(),
        "SELECT trap, day, eggs FROM visit ORDER BY day, trap",
    );
    let expected: Vec<Vec<String>> = (0..ROUNDS)
        .map(|round| <[String; 3]>::from(reading(round)).to_vec())
        .collect();
    assert_eq!(found, expected);
    let changed = rows(&farm.database(), "SELECT count(*) FROM visit_history");
    assert_eq!(changed, [["0"]]);
    let whole = rows(&farm.database(), "PRAGMA integrity_check");
    assert_eq!(whole, [["ok"]]);
}

#[test]
#[ignore = "takes minutes; tests/long runs it"]
fn five_hundred_sheets_beside_one_night_after_the_other_lose_and_double_nothing() {
    let farm = Farm::new("2022-12-31");
    let over = AtomicBool::new(false);
    let nights = AtomicUsize::new(0);
    let again = std::thread::scope(|scope| {
        let working = scope.spawn(|| {
            while !over.load(Ordering::Relaxed) {
                let night = ["nightly", "--again", "--as-of", "2022-08-01"];
                let ended = run(&[&night[..], &["--config", farm.config()]].concat());
                let said = String::from_utf8_lossy(&ended.stderr);
                // Also what a night sees as locked is tried again.
                assert!(matches!(ended.status.code(), Some(0 | 75)), "{said}");
                nights.fetch_add(1, Ordering::Relaxed);
            }
        });
        let again = import_all(&farm, || {});
        over.store(true, Ordering::Relaxed);
        working.join().unwrap();
        again
    });
    all_are_there(&farm);
    println!("{ROUNDS} sheets beside {nights:?} nights, {again} came again");
}

#[test]
#[ignore = "takes minutes; tests/long runs it"]
fn five_hundred_sheets_beside_the_daemon_lose_and_double_nothing() {
    let farm = Farm::new("2022-12-31");
    in_the_small_hours(&farm);
    let daemon = start(&farm);
    let again = import_all(&farm, || daemon.signal("-HUP"));
    daemon.stop("-TERM");
    all_are_there(&farm);
    println!("{ROUNDS} sheets beside the daemon, {again} came again");
}

#[test]
fn one_who_reads_all_night_holds_nothing_up_and_the_night_after_leaves_one_file() {
    let farm = Farm::new("2022-04-30");
    farm.nightly("2022-04-10");
    farm.import("round.csv", VISITS);
    let database = farm.path("duskflight.sqlite");
    let log = farm.path("duskflight.sqlite-wal");
    // While somebody writes, so that the reader has a log to read.
    let writer = farm.database();
    let schema = &rows(&writer, "PRAGMA user_version")[0][0];
    let the_same = format!("PRAGMA user_version = {schema}");
    writer.execute_batch(&the_same).unwrap();
    let reader = Connection::open_with_flags(&database, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    reader.execute_batch("BEGIN").unwrap();
    let told = "SELECT count(*) FROM told";
    let before = rows(&reader, told);
    drop(writer);

    let begun = Instant::now();
    farm.nightly("2022-04-16");
    let took = begun.elapsed();
    let mails = farm.mails();
    assert!(
        mails.contains(&"2022-04-16-digest-ada.eml".to_owned()),
        "{mails:?}"
    );
    let copy = Connection::open(farm.path("backups/duskflight-2022-04-16.sqlite")).unwrap();
    let of_the_day = "SELECT count(*) FROM told WHERE day = '2022-04-16'";
    assert_ne!(rows(&copy, of_the_day), [["0"]]);
    // The reader sees what it saw.
    assert_eq!(rows(&reader, told), before);
    assert!(log.exists());

    reader.execute_batch("COMMIT").unwrap();
    drop(reader);
    let begun = Instant::now();
    farm.nightly("2022-04-17");
    let alone = begun.elapsed();
    assert!(!log.exists());
    println!("the night took {took:?}, alone {alone:?}");
    // Ten seconds is what it would wait for a lock, at each of several steps.
    assert!(
        took < 3 * alone + Duration::from_secs(15),
        "it waits for the reader: {took:?}, alone {alone:?}"
    );
    let alone = tempfile::tempdir().unwrap();
    let alone = alone.path().join("alone.sqlite");
    fs::copy(&database, &alone).unwrap();
    let of_the_day = "SELECT count(*) FROM outbox WHERE day = '2022-04-17'";
    assert_ne!(rows(&Connection::open(alone).unwrap(), of_the_day), [["0"]]);
}
