//! The real program stopped for longer than its work takes, and by a clock that is wrong for a while.

use std::fs;
use std::path::PathBuf;
use std::process::Command;
use std::time::{Duration, Instant};

use chrono::{Days, NaiveDate};

use crate::daemon::{in_the_small_hours, start, start_by, wait_for};
use crate::harness::{Farm, duskflight, rows, table};

/// Longer than a tick of the daemon, and than all it does in a morning of so small a farm.
const LONG: Duration = Duration::from_secs(35);
/// Ten years ahead, as the library that shifts the clock reads it.
const TEN_YEARS: &str = "+3652d";

/// A farm whose morning it is, told up to yesterday, with temperatures up to then, and the day that is owed.
fn farm_in_the_morning() -> (Farm, NaiveDate) {
    let farm = Farm::new("2022-12-31");
    let today = in_the_small_hours(&farm);
    let yesterday = today - Days::new(1);
    farm.write("yard.csv", &table(&yesterday.to_string()));
    farm.nightly(&yesterday.to_string());
    (farm, today)
}

fn let_pass(long: Duration) {
    let began = Instant::now();
    wait_for("a while is over", || began.elapsed() > long);
}

fn one(farm: &Farm, sql: &str) -> String {
    rows(&farm.database(), sql)[0][0].clone()
}

/// Today is told once and its digest is there once; nothing is of another day than it and yesterday.
fn is_told_once(farm: &Farm, today: NaiveDate, what: &str) {
    let told =
        "SELECT day, attempts FROM job_run WHERE job = 'tell' AND state = 'done' ORDER BY day";
    let yesterday = (today - Days::new(1)).to_string();
    let once = |day: &str| vec![day.to_owned(), "1".to_owned()];
    let days = [once(&yesterday), once(&today.to_string())];
    assert_eq!(rows(&farm.database(), told), days, "{what}");
    let sent =
        "SELECT day, attempts FROM outbox WHERE kind = 'digest' AND state = 'sent' ORDER BY day";
    assert_eq!(rows(&farm.database(), sent), days, "{what}");
    let known = one(farm, "SELECT count(*) FROM outbox WHERE state = 'sent'");
    assert_eq!(farm.mails().len().to_string(), known, "{what}");
}

#[test]
#[ignore = "takes minutes"]
fn stopped_for_longer_than_its_work_takes_the_daemon_does_it_once() {
    let stages = [
        ("before it looks", "SELECT 1"),
        (
            "once it fetches",
            "SELECT count(*) > 1 FROM job_run WHERE job = 'fetch'",
        ),
        (
            "once it tells",
            "SELECT count(*) > 1 FROM job_run WHERE job = 'tell'",
        ),
        (
            "once a mail left",
            "SELECT count(*) > 1 FROM outbox WHERE state = 'sent'",
        ),
    ];
    for (what, reached) in stages {
        let (farm, today) = farm_in_the_morning();
        let daemon = start(&farm);
        wait_for(what, || one(&farm, reached) == "1");
        daemon.signal("-STOP");
        let_pass(LONG);
        daemon.signal("-CONT");
        let sent = format!("SELECT count(*) FROM outbox WHERE state = 'sent' AND day = '{today}'");
        daemon.looks_until("the digest left", || one(&farm, &sent) != "0");
        daemon.stop("-TERM");
        is_told_once(&farm, today, what);
    }
}

#[test]
#[ignore = "takes minutes"]
fn half_a_minute_ten_years_ahead_tells_nothing_and_the_daemon_is_at_work_again_by_itself() {
    let (farm, today) = farm_in_the_morning();
    farm.write("shift", TEN_YEARS);
    let daemon = start_by(&farm, shifted(&farm));
    let in_vain = "SELECT count(*) FROM fetch_log WHERE outcome = 'failed' AND at > unixepoch() + 86400 * 3000";
    wait_for("it fetches in vain by the wrong clock", || {
        one(&farm, in_vain) != "0"
    });
    let_pass(LONG);
    let yesterday_alone = "SELECT count(*) FROM job_run WHERE job = 'tell' AND state = 'done'";
    assert_eq!(one(&farm, yesterday_alone), "1", "nothing is told by it");
    farm.write("shift", "+0");
    let sent = format!("SELECT count(*) FROM outbox WHERE state = 'sent' AND day = '{today}'");
    // Without a witness it is believed after five minutes.
    wait_for("today's digest left", || one(&farm, &sent) != "0");
    daemon.stop("-TERM");
    is_told_once(&farm, today, "ten years ahead");
}

/// The program, by a clock that is shifted by what the farm's file `shift` says. How long the machine has been up
/// is not.
fn shifted(farm: &Farm) -> Command {
    let mut program = duskflight();
    program
        .env("LD_PRELOAD", library())
        .env("FAKETIME_TIMESTAMP_FILE", farm.path("shift"))
        .env("FAKETIME_NO_CACHE", "1")
        .env("FAKETIME_DONT_FAKE_MONOTONIC", "1")
        .env("NO_FAKE_STAT", "1");
    program
}

/// Debian's, for this machine's processor.
fn library() -> PathBuf {
    let folders = fs::read_dir("/usr/lib").unwrap();
    let libraries = folders.map(|folder| folder.unwrap().path().join("faketime/libfaketime.so.1"));
    let mut found = libraries.filter(|library| library.exists());
    found.next().expect("the Debian package faketime")
}
