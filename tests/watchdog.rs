//! The daemon under a service manager: what it says when it is ready, alive, reloading, ending, and hangs.

use std::os::unix::net::UnixDatagram;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

use crate::harness::{Farm, duskflight};

/// A word comes within so long, unless something hangs.
const AT_LAST: Duration = Duration::from_secs(120);

/// The daemon, and the socket on which its manager listens.
struct Managed {
    daemon: Child,
    words: UnixDatagram,
}

impl Managed {
    /// Starts the daemon under a manager that wants a sign of life within a second.
    fn start(farm: &Farm, program: Command) -> Self {
        let words = UnixDatagram::bind(farm.path("notify")).unwrap();
        Self::start_with(farm, program, words)
    }

    fn start_with(farm: &Farm, mut program: Command, words: UnixDatagram) -> Self {
        let daemon = program
            .args(["run", "--config", farm.config()])
            .env("NOTIFY_SOCKET", farm.path("notify"))
            .env("WATCHDOG_USEC", "1000000")
            .stderr(std::process::Stdio::null())
            .spawn();
        let daemon = daemon.unwrap();
        Self { daemon, words }
    }

    /// The next datagram, as lines; `None` when none comes within `wait`.
    fn hears(&self, wait: Duration) -> Option<Vec<String>> {
        self.words.set_read_timeout(Some(wait)).unwrap();
        let mut buffer = [0; 4096];
        let length = self.words.recv(&mut buffer).ok()?;
        let text = String::from_utf8_lossy(&buffer[..length]);
        Some(text.lines().map(str::to_owned).collect())
    }

    /// Listens until a line is said, and gives what was said with it.
    fn hears_of(&self, line: &str) -> Vec<String> {
        let give_up = Instant::now() + AT_LAST;
        while Instant::now() < give_up {
            let said = self.hears(AT_LAST).unwrap_or_default();
            if said.iter().any(|said| said == line) {
                return said;
            }
        }
        panic!("waited in vain for {line}");
    }

    fn signal(&self, name: &str) {
        let kill = format!("kill {name} {}", self.daemon.id());
        let sent = Command::new("sh").args(["-c", &kill]).status();
        assert!(sent.unwrap().success());
    }
}

impl Drop for Managed {
    fn drop(&mut self) {
        // It has usually ended already.
        let _ = self.daemon.kill();
        let _ = self.daemon.wait();
    }
}

/// A sheet, and a farm into which it is dropped.
const ROUND: &str = "date,trap,eggs\n2022-04-25,e1,0\n";

fn farm_with_a_drop_folder() -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.change("[mail]", "[records]\ndrop = \"drop\"\n\n[mail]");
    std::fs::create_dir(farm.path("drop")).unwrap();
    farm
}

#[test]
fn it_says_that_it_is_ready_how_it_stands_that_it_lives_reloads_and_ends() {
    let farm = Farm::new("2022-04-30");
    let mut managed = Managed::start(&farm, duskflight());
    let ready = managed.hears_of("READY=1");
    assert!(ready.contains(&"WATCHDOG=1".to_owned()), "{ready:?}");
    let stands = |line: &String| line.starts_with("STATUS=");
    assert!(ready.iter().any(stands), "{ready:?}");
    for _ in 0..3 {
        managed.hears_of("WATCHDOG=1");
    }
    managed.signal("-HUP");
    let reloading = managed.hears_of("RELOADING=1");
    let since = |line: &String| line.starts_with("MONOTONIC_USEC=");
    assert!(reloading.iter().any(since), "{reloading:?}");
    managed.hears_of("READY=1");
    managed.signal("-TERM");
    managed.hears_of("STOPPING=1");
    assert!(managed.daemon.wait().unwrap().success());
}

#[test]
fn a_manager_that_does_not_listen_holds_nothing_up() {
    let farm = farm_with_a_drop_folder();
    let words = UnixDatagram::bind(farm.path("notify")).unwrap();
    let full = UnixDatagram::unbound().unwrap();
    full.set_nonblocking(true).unwrap();
    while full.send_to(b"full", farm.path("notify")).is_ok() {}
    let mut managed = Managed::start_with(&farm, duskflight(), words);
    farm.write("drop/round.csv", ROUND);
    crate::daemon::wait_for("the work is done", || !farm.path("drop/round.csv").exists());
    managed.signal("-TERM");
    assert!(managed.daemon.wait().unwrap().success());
}

#[cfg(feature = "crash-points")]
#[test]
fn a_writer_that_hangs_gives_no_sign_of_life_any_more() {
    let farm = farm_with_a_drop_folder();
    // The program that was built beside the tests: no other has these points.
    let mut program = Command::new(env!("CARGO_BIN_EXE_duskflight"));
    program.env("DUSKFLIGHT_HANG", farm.path("hang"));
    let managed = Managed::start(&farm, program);
    for _ in 0..3 {
        managed.hears_of("WATCHDOG=1");
    }
    farm.write("hang", "");
    farm.write("drop/round.csv", ROUND);
    let hangs = || !farm.path("hang").exists();
    crate::daemon::wait_for("the writer hangs", || {
        // Words that nobody hears would fill the socket and hold the daemon up.
        managed.hears(Duration::from_millis(100));
        hangs()
    });
    // What it said before is heard to the end; silence for three times as long as the manager waits is for good.
    let give_up = Instant::now() + AT_LAST;
    while managed.hears(Duration::from_secs(3)).is_some() {
        assert!(Instant::now() < give_up, "it goes on saying that it lives");
    }
}
