//! The daemon itself: started, left alone, stopped.

use std::ops::{Deref, DerefMut};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use crate::harness::{Farm, duskflight, refused, rows};

/// Waits until a condition holds, with a bound that only a hang reaches.
pub(crate) fn wait_for(what: &str, mut holds: impl FnMut() -> bool) {
    let give_up = Instant::now() + Duration::from_secs(120);
    while !holds() {
        assert!(Instant::now() < give_up, "waited in vain until {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// The daemon at work. A test that fails leaves none behind.
pub(crate) struct Running(Child);

impl Deref for Running {
    type Target = Child;

    fn deref(&self) -> &Child {
        &self.0
    }
}

impl DerefMut for Running {
    fn deref_mut(&mut self) -> &mut Child {
        &mut self.0
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // It has usually ended already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

pub(crate) fn start(farm: &Farm) -> Running {
    start_with_log(farm, Stdio::null())
}

fn start_with_log(farm: &Farm, log: Stdio) -> Running {
    let child = duskflight()
        .args(["run", "--config", farm.config()])
        .stderr(log)
        .spawn();
    Running(child.unwrap())
}

pub(crate) fn signal(child: &Child, name: &str) {
    // The shell's own kill: a bare Debian has no program of that name.
    let kill = format!("kill {name} {}", child.id());
    let sent = std::process::Command::new("sh")
        .args(["-c", &kill])
        .status();
    assert!(sent.unwrap().success());
}

/// A farm whose morning has always come: the digest is told right after midnight.
fn farm_in_the_morning() -> Farm {
    let farm = Farm::new("2022-12-31");
    farm.change("[mail]", "[telling]\ndigest_time = \"00:00\"\n\n[mail]");
    farm
}

#[test]
fn started_late_it_fetches_tells_delivers_once_and_stops_when_asked() {
    let farm = farm_in_the_morning();
    let mut child = start(&farm);
    wait_for("the digest is delivered", || !farm.mails().is_empty());
    // While it runs, no other process may do its work.
    let said = refused(75, &["nightly", "--config", farm.config()]);
    assert!(said.contains(&child.id().to_string()), "{said}");
    signal(&child, "-TERM");
    assert!(child.wait().unwrap().success());
    let digests = rows(
        &farm.database(),
        "SELECT count(DISTINCT day), count(*) FROM outbox",
    );
    assert_eq!(digests[0][0], digests[0][1]);

    // Started again on the same day it has nothing to do.
    let sent = rows(
        &farm.database(),
        "SELECT message_id, attempts FROM outbox ORDER BY 1",
    );
    let mut child = start(&farm);
    let fetched =
        |farm: &Farm| rows(&farm.database(), "SELECT count(*) FROM fetch_log")[0][0].clone();
    let before = fetched(&farm);
    std::thread::sleep(Duration::from_secs(2));
    signal(&child, "-INT");
    assert!(child.wait().unwrap().success());
    let after = rows(
        &farm.database(),
        "SELECT message_id, attempts FROM outbox ORDER BY 1",
    );
    // Unless midnight passed meanwhile, when a second day is owed.
    if after.len() == sent.len() {
        assert_eq!(after, sent);
        assert_eq!(fetched(&farm), before);
    }
}

#[test]
fn with_no_network_it_lives_and_the_digest_says_what_is_missing() {
    let farm = farm_in_the_morning();
    // Nobody listens there, and the name service is not asked.
    farm.change(
        "source = \"yard.csv\"",
        "source = \"http://127.0.0.1:9/yard.csv\"",
    );
    let mut child = start(&farm);
    wait_for("the digest is delivered", || !farm.mails().is_empty());
    assert!(child.try_wait().unwrap().is_none(), "the daemon ended");
    signal(&child, "-TERM");
    assert!(child.wait().unwrap().success());
    let mail = farm.path("mail").join(&farm.mails()[0]);
    let digest = std::fs::read_to_string(mail).unwrap().replace("=\r\n", "");
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
    let log = farm.path("log");
    let mut child = start_with_log(&farm, std::fs::File::create(&log).unwrap().into());
    let said = |words: &str| std::fs::read_to_string(&log).unwrap().contains(words);
    wait_for("the digest is delivered", || !farm.mails().is_empty());
    // A mail has its name once it is written whole.
    let mails = || {
        let mut mails = farm.mails();
        mails.retain(|name| name.ends_with(".eml"));
        mails
    };
    wait_for("the digest is whole", || !mails().is_empty());
    let told = mails();
    let look_at_once = |words: &str| {
        wait_for(words, || {
            signal(&child, "-HUP");
            said(words)
        });
    };
    farm.change("role = \"adviser\"", "role = \"advisor\"");
    look_at_once("not taken over");
    farm.change("role = \"advisor\"", "role = \"adviser\"");
    look_at_once("changed configuration taken over");
    // Nothing of the day is told again.
    assert_eq!(mails(), told);
    signal(&child, "-TERM");
    assert!(child.wait().unwrap().success());
}
