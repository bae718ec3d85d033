//! The daemon itself: started, left alone, stopped.

use std::fs::{self, File};
use std::path::PathBuf;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

use chrono::{NaiveDate, TimeDelta, Timelike};
use duskflight::clock::{Clock, SystemClock};

use crate::harness::{Farm, duskflight, refused, rows};

/// Waits until a condition holds, with a bound that only a hang reaches.
pub(crate) fn wait_for(what: &str, mut holds: impl FnMut() -> bool) {
    let give_up = Instant::now() + Duration::from_secs(600);
    while !holds() {
        assert!(Instant::now() < give_up, "waited in vain until {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// The daemon at work. A test that fails leaves none behind.
pub(crate) struct Running {
    child: Child,
    log: PathBuf,
}

/// Starts the daemon and waits until it heeds signals.
pub(crate) fn start(farm: &Farm) -> Running {
    start_by(farm, duskflight())
}

/// Starts it by a command that is ready to be given arguments.
pub(crate) fn start_by(farm: &Farm, mut program: Command) -> Running {
    let log = farm.path("log");
    let child = program
        .args(["run", "--config", farm.config()])
        .stderr(File::create(&log).unwrap())
        .spawn();
    let child = child.unwrap();
    let running = Running { child, log };
    wait_for("it heeds signals", || running.said("duskflight starts") > 0);
    running
}

impl Running {
    pub(crate) fn signal(&self, name: &str) {
        // The shell's own kill: a bare Debian has no program of that name.
        let kill = format!("kill {name} {}", self.child.id());
        let sent = Command::new("sh").args(["-c", &kill]).status();
        assert!(sent.unwrap().success());
    }

    /// Has it look at what is due, rather than at its tick of half a minute, until a condition holds.
    pub(crate) fn looks_until(&self, what: &str, mut holds: impl FnMut() -> bool) {
        wait_for(what, || {
            self.signal("-HUP");
            holds()
        });
    }

    /// Asks it to stop, which must succeed.
    pub(crate) fn stop(mut self, name: &str) {
        self.signal(name);
        assert!(self.child.wait().unwrap().success());
    }

    /// Why, as its log has it, it said something last.
    pub(crate) fn said_last(&self, words: &str) -> String {
        let log = fs::read_to_string(&self.log).unwrap();
        let line = log.lines().rfind(|line| line.contains(words)).unwrap();
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        line["fields"]["why"].as_str().unwrap().to_owned()
    }

    /// How often it said something.
    pub(crate) fn said(&self, words: &str) -> usize {
        fs::read_to_string(&self.log)
            .unwrap()
            .matches(words)
            .count()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // It has usually ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Lets a farm's morning have come, whenever the test is run: the digest is told right after midnight,
/// in a zone where it is past two; gives the day there. No late fetch is due before five, and no other day before midnight.
pub(crate) fn in_the_small_hours(farm: &Farm) -> NaiveDate {
    let now = SystemClock.now();
    let ahead = (2 - now.hour() as i32 + 12).rem_euclid(24) - 12;
    // The names of these zones count westward.
    let zone = format!("Etc/GMT{:+}", -ahead);
    farm.change("America/Los_Angeles", &zone);
    farm.change("[mail]", "[telling]\ndigest_time = \"00:00\"\n\n[mail]");
    (now + TimeDelta::hours(ahead.into())).date_naive()
}

fn farm_in_the_morning() -> Farm {
    let farm = Farm::new("2022-12-31");
    in_the_small_hours(&farm);
    farm
}

/// Waits until the daemon has asked at least once what is due and begun it, all it does on a quiet day:
/// each configuration is taken over in a look of its own, and a look ends before the next.
fn wait_for_a_whole_look(farm: &Farm, daemon: &Running) {
    daemon.looks_until("a look is over", || {
        farm.change("[farm]", "# Changed.\n[farm]");
        daemon.said("changed configuration taken over") >= 2
    });
}

#[test]
fn started_late_it_fetches_tells_delivers_once_and_stops_when_asked() {
    let farm = farm_in_the_morning();
    let daemon = start(&farm);
    // By its own ticks.
    wait_for("the digest is delivered", || !farm.mails().is_empty());
    // While it runs, no other process may do its work.
    let said = refused(75, &["nightly", "--config", farm.config()]);
    assert!(said.contains(&daemon.child.id().to_string()), "{said}");
    daemon.stop("-TERM");
    let digests = rows(
        &farm.database(),
        "SELECT count(DISTINCT day), count(*) FROM outbox",
    );
    assert_eq!(digests, [["1", "1"]]);

    // Started again on the same day it has nothing to do.
    let done = || {
        let mails = "SELECT message_id, attempts FROM outbox ORDER BY 1";
        let fetches = "SELECT count(*) FROM fetch_log";
        [mails, fetches].map(|sql| rows(&farm.database(), sql))
    };
    let before = done();
    let daemon = start(&farm);
    wait_for_a_whole_look(&farm, &daemon);
    daemon.stop("-INT");
    assert_eq!(done(), before);
}

#[test]
fn with_no_network_it_lives_and_the_digest_says_what_is_missing() {
    let farm = farm_in_the_morning();
    // Nobody listens there, and the name service is not asked.
    farm.change(
        "source = \"yard.csv\"",
        "source = \"http://127.0.0.1:9/yard.csv\"",
    );
    let daemon = start(&farm);
    daemon.looks_until("the digest is delivered", || !farm.mails().is_empty());
    daemon.stop("-TERM");
    let mail = farm.path("mail").join(&farm.mails()[0]);
    let digest = fs::read_to_string(mail).unwrap().replace("=\r\n", "");
    assert!(digest.contains("no temperatures yet"), "{digest}");
}

#[test]
fn a_configuration_that_is_wrong_ends_it_with_78() {
    let farm = farm_in_the_morning();
    farm.change("role = \"adviser\"", "role = \"advisor\"");
    let said = refused(78, &["run", "--config", farm.config()]);
    assert!(said.contains("advisor"), "{said}");
}

#[test]
fn a_configuration_changed_while_it_runs_is_taken_over_and_a_wrong_one_is_not() {
    let farm = farm_in_the_morning();
    let daemon = start(&farm);
    daemon.looks_until("the digest is delivered", || !farm.mails().is_empty());
    let told = farm.mails();
    let wait_for_words = |words: &str| daemon.looks_until(words, || daemon.said(words) > 0);
    farm.change("role = \"adviser\"", "role = \"advisor\"");
    wait_for_words("not taken over");
    farm.change("role = \"advisor\"", "role = \"adviser\"");
    wait_for_words("changed configuration taken over");
    // Nothing of the day is told again.
    assert_eq!(farm.mails(), told);
    daemon.stop("-TERM");
}
