//! A disk that is full, at the start and at every stage: nothing is lost or told twice, and people hear of it. Needs
//! to mount a small file system, so it is among the long tests.

use std::fs;
use std::io::Write;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::process::Command;

use chrono::TimeDelta;
use duskflight::clock::{Clock, SystemClock};
use rusqlite::Connection;

use crate::daemon::{in_the_small_hours, start, wait_for};
use crate::harness::{Farm, VISITS, refused, rows, run};

/// A file system of its own, of so many megabytes, which goes with this.
struct Disk(PathBuf);

impl Disk {
    fn mount(at: &Path, mb: u32) -> Self {
        fs::create_dir_all(at).unwrap();
        let size = format!("size={mb}m");
        as_root(&[
            "mount",
            "-t",
            "tmpfs",
            "-o",
            &size,
            "tmpfs",
            at.to_str().unwrap(),
        ]);
        Self(at.to_owned())
    }

    fn free(&self) -> u64 {
        let found = rustix::fs::statvfs(&self.0).unwrap();
        found.f_bavail * found.f_frsize
    }

    /// Fills it, but for so many bytes.
    fn fill(&self, but: u64) {
        let mut filler = fs::File::create(self.filler()).unwrap();
        let page = [0_u8; 4096];
        while self.free() > but && filler.write_all(&page).is_ok() {}
    }

    fn make_room(&self) {
        fs::remove_file(self.filler()).unwrap();
    }

    /// As a file system is after a fault: read-only, or not any more.
    fn remount(&self, how: &str) {
        as_root(&[
            "mount",
            "-o",
            &format!("remount,{how}"),
            self.0.to_str().unwrap(),
        ]);
    }

    fn filler(&self) -> PathBuf {
        self.0.join("filler")
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        as_root(&["umount", "--lazy", self.0.to_str().unwrap()]);
    }
}

fn as_root(command: &[&str]) {
    let root = fs::metadata("/proc/self").unwrap().uid() == 0;
    let words = if root {
        command.to_vec()
    } else {
        [&["sudo"], command].concat()
    };
    let done = Command::new(words[0]).args(&words[1..]).status().unwrap();
    assert!(done.success(), "{words:?}");
}

/// A farm whose records lie on a disk of 24 MB, and nothing else of it.
fn farm_on_a_disk() -> (Farm, Disk) {
    let farm = Farm::new("2022-12-31");
    let disk = Disk::mount(&farm.path("disk"), 24);
    fs::copy(
        farm.path("duskflight.sqlite"),
        farm.path("disk/duskflight.sqlite"),
    )
    .unwrap();
    farm.change(
        "[mail]",
        "[store]\nfile = \"disk/duskflight.sqlite\"\n\n[mail]",
    );
    farm.import("round.csv", VISITS);
    (farm, disk)
}

fn database(farm: &Farm) -> Connection {
    Connection::open(farm.path("disk/duskflight.sqlite")).unwrap()
}

/// What people were told, and by what.
fn told(farm: &Farm) -> Vec<Vec<String>> {
    let sql = "SELECT told.person, block, event, revision, value, state FROM told
               JOIN outbox ON outbox.message_id = mail ORDER BY 1, 2, 3, 4";
    rows(&database(farm), sql)
}

#[test]
#[ignore = "mounts a file system: tests/long"]
fn on_a_disk_that_is_full_at_any_stage_of_a_night_nothing_is_lost_or_told_twice() {
    let (undisturbed, _disk) = farm_on_a_disk();
    for day in ["2022-04-10", "2022-04-16", "2022-04-17"] {
        undisturbed.nightly(day);
    }
    let (mut whole, mut cut) = (0, 0);
    for pages in (0..64).step_by(4).chain((64..2048).step_by(128)) {
        let (farm, disk) = farm_on_a_disk();
        farm.nightly("2022-04-10");
        disk.fill(pages * 4096);
        let night = run(&[
            "nightly",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-16",
        ]);
        match night.status.code() {
            Some(0) => whole += 1,
            Some(75) => {
                let said = String::from_utf8_lossy(&night.stderr);
                assert!(said.contains("the disk is full"), "{pages}: {said}");
                cut += 1;
            }
            code => panic!(
                "{pages}: {code:?}: {}",
                String::from_utf8_lossy(&night.stderr)
            ),
        }
        disk.make_room();
        farm.nightly("2022-04-16");
        farm.nightly("2022-04-17");
        assert_eq!(told(&farm), told(&undisturbed), "{pages} pages were left");
        assert_eq!(farm.mails(), undisturbed.mails(), "{pages} pages were left");
        let sound = rows(&database(&farm), "PRAGMA integrity_check");
        assert_eq!(sound, [["ok"]], "{pages}");
    }
    println!("a disk that fills up: {cut} nights were cut, {whole} were not");
    assert!(cut > 3 && whole > 3, "{cut} {whole}");
}

/// Tells a night so short a while ago that the clock needs no witness.
fn told_days_ago(farm: &Farm, days: i64) {
    let day = (SystemClock.now() - TimeDelta::days(days))
        .date_naive()
        .to_string();
    // The station's table ends years before.
    refused(75, &["nightly", "--config", farm.config(), "--as-of", &day]);
}

/// Whether nobody has the records open to write.
fn is_let_go_of(farm: &Farm) -> bool {
    let lock = fs::File::open(farm.path("disk/duskflight.open.lock")).unwrap();
    lock.try_lock().is_ok()
}

/// How often the daemon's log says it.
fn logged(farm: &Farm, words: &str) -> usize {
    let log = fs::read_to_string(farm.path("log")).unwrap();
    log.matches(words).count()
}

#[test]
#[ignore = "mounts a file system: tests/long"]
fn the_daemon_stands_still_on_a_full_disk_and_goes_on_by_itself() {
    let (farm, disk) = farm_on_a_disk();
    in_the_small_hours(&farm);
    farm.change("[mail]", "[records]\ndrop = \"drop\"\n\n[mail]");
    fs::create_dir(farm.path("drop")).unwrap();
    // Copies of nights before, of which the oldest may go.
    told_days_ago(&farm, 3);
    told_days_ago(&farm, 2);
    disk.fill(0);

    let daemon = start(&farm);
    let operators = |farm: &Farm| {
        let mails = farm.mails().into_iter();
        mails
            .filter(|name| name.contains("operator-ada-records"))
            .count()
    };
    wait_for("the full disk is mailed", || operators(&farm) == 1);
    assert_eq!(operators(&farm), 1, "once a day");
    assert_eq!(
        logged(&farm, "the disk is full: nothing"),
        1,
        "once an hour"
    );
    let copies = fs::read_dir(farm.path("disk/backups")).unwrap().count();
    assert_eq!(copies, 1, "the newest copy stays");

    disk.make_room();
    daemon.looks_until("it goes on", || operators(&farm) == 2);
    assert_eq!(logged(&farm, "the records can be used again"), 1);

    // Full again while it runs: a sheet waits for room, and nobody is mailed a second time today.
    disk.fill(0);
    fs::write(
        farm.path("drop/late.csv"),
        "date,trap,eggs\n2022-04-19,e1,7\n",
    )
    .unwrap();
    daemon.looks_until("it lets go of the records", || is_let_go_of(&farm));
    assert_eq!(operators(&farm), 2);
    assert!(farm.path("drop/late.csv").exists());
    disk.make_room();
    daemon.looks_until("the sheet is taken in", || {
        !farm.path("drop/late.csv").exists()
    });
    daemon.stop("-TERM");
    let eggs = rows(
        &database(&farm),
        "SELECT count(*) FROM visit WHERE day = '2022-04-19'",
    );
    assert_eq!(eggs, [["1"]]);
}

#[test]
#[ignore = "mounts a file system: tests/long"]
fn the_daemon_stands_still_on_a_disk_that_became_read_only_also_at_its_start() {
    let (farm, disk) = farm_on_a_disk();
    in_the_small_hours(&farm);
    told_days_ago(&farm, 2);
    disk.remount("ro");
    let operators = || {
        let mails = farm.mails().into_iter();
        mails
            .filter(|name| name.contains("operator-ada-records"))
            .count()
    };
    let daemon = start(&farm);
    wait_for("the disk is mailed", || operators() == 1);
    assert_eq!(logged(&farm, "the disk does not let the database"), 1);
    disk.remount("rw");
    daemon.looks_until("it goes on", || operators() == 2);
    daemon.stop("-TERM");
}
