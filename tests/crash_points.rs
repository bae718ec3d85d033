//! The program ended at every commit and every step of the talk with a real mail server, and killed at
//! random: nothing is lost, and a crash doubles one mail at the most.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::harness::{Farm, duskflight, printed, visits_also_of};
use crate::kept::{Kept, as_it_lies, assert_same, kept};
use crate::mailserver::{MailServer, PASSWORD, USER, files_below, mail_in};

/// The adviser and three growers.
const PEOPLE: [&str; 4] = ["ada", "gil", "hal", "ivo"];
/// The morning before, and the morning that is disturbed: it tells the adviser of three starts in a
/// digest, and each grower of one in an alert.
const BEFORE: &str = "2022-04-10";
const MORNING: &str = "2022-04-16";
/// Beside the hundred of an upgrade's first night.
const KILLS: usize = 100;

/// A farm before its morning, a real mail server, and what comes of the morning undisturbed.
struct Scene {
    server: MailServer,
    farm: Farm,
    /// The database before the morning.
    database: Vec<u8>,
    /// Mailbox files that were looked at before.
    seen: Vec<PathBuf>,
    undisturbed: Morning,
    /// Points that the undisturbed morning passes.
    points: Vec<String>,
    /// How long it takes.
    takes: Duration,
}

/// What came of a morning.
#[derive(Default)]
struct Morning {
    /// What `told` prints.
    ledger: String,
    /// What the database keeps.
    kept: Kept,
    /// Message-ID and bytes of what arrived.
    mails: Vec<(String, Vec<u8>)>,
}

/// Sums over mornings.
#[derive(Default)]
struct Tally {
    crashes: usize,
    mails: usize,
    doubled: usize,
    lost: usize,
}

impl Scene {
    fn new() -> Self {
        let server = MailServer::start(&PEOPLE);
        let farm = farm_of_three_growers(&server);
        farm.nightly(BEFORE);
        let mut scene = Self {
            database: farm.saved_database(),
            server,
            farm,
            seen: Vec::new(),
            undisturbed: Morning::default(),
            points: Vec::new(),
            takes: Duration::ZERO,
        };
        scene.morning_after();
        let list = scene.farm.path("points");
        let begun = Instant::now();
        let ended = scene.morning().env("DUSKFLIGHT_CRASH_LIST", &list).status();
        scene.takes = begun.elapsed();
        assert!(ended.unwrap().success(), "{}", scene.server.log());
        let points = fs::read_to_string(list).unwrap();
        scene.points = points.lines().map(str::to_owned).collect();
        scene.undisturbed = scene.morning_after();
        assert_eq!(scene.undisturbed.mails.len(), PEOPLE.len());
        scene
    }

    /// The morning's work, ready to be begun.
    fn morning(&self) -> Command {
        let mut command = duskflight();
        command
            .args([
                "nightly",
                "--config",
                self.farm.config(),
                "--as-of",
                MORNING,
            ])
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        command
    }

    /// The ledger, and what has arrived since one looked last.
    fn morning_after(&mut self) -> Morning {
        settle(&self.server);
        let mut mails = Vec::new();
        for file in PEOPLE.iter().flat_map(|name| self.server.delivered(name)) {
            if !self.seen.contains(&file) {
                let mail = mail_in(&file);
                mails.push((message_id(&mail), mail));
                self.seen.push(file);
            }
        }
        let ledger = printed(&["told", "--config", self.farm.config()]);
        let kept = kept(&self.farm.path("duskflight.sqlite"));
        Morning {
            ledger,
            kept,
            mails,
        }
    }

    /// Finishes a morning that was disturbed by so many crashes and checks what came of it.
    fn finished(&mut self, crashes: usize, how: &str) -> Tally {
        let ended = self.morning().status().unwrap();
        assert!(ended.success(), "{how}: {}", self.server.log());
        let morning = self.morning_after();
        assert_eq!(morning.ledger, self.undisturbed.ledger, "{how}");
        assert_same(&morning.kept, &self.undisturbed.kept, how);
        let mut copies: BTreeMap<&str, u32> = BTreeMap::new();
        for (id, mail) in &morning.mails {
            let sent = self.undisturbed.mails.iter().find(|(sent, _)| sent == id);
            let same = sent.is_some_and(|(_, undisturbed)| undisturbed == mail);
            assert!(same, "{how}: {id} is not as it was frozen");
            *copies.entry(id).or_default() += 1;
        }
        for (id, tries) in self.tries() {
            let arrived = copies.get(id.as_str()).copied().unwrap_or_default();
            assert!(tries >= arrived, "{how}: a try of {id} was not counted");
        }
        let tally = Tally {
            crashes,
            mails: morning.mails.len(),
            doubled: morning.mails.len() - copies.len(),
            lost: self.undisturbed.mails.len() - copies.len(),
        };
        assert_eq!(tally.lost, 0, "{how}: {copies:?}");
        assert!(tally.doubled <= crashes, "{how}: {copies:?}");
        tally
    }

    /// How often each of the morning's mails was tried; none of them waits any longer.
    fn tries(&self) -> Vec<(String, u32)> {
        let database = self.farm.database();
        let mut query = database
            .prepare("SELECT message_id, attempts, state FROM outbox WHERE day = ?1")
            .unwrap();
        let tries = query.query_map([MORNING], |row| {
            assert_eq!(row.get::<_, String>(2)?, "sent");
            Ok((row.get(0)?, row.get(1)?))
        });
        let tries: Vec<(String, u32)> = tries.unwrap().map(Result::unwrap).collect();
        assert_eq!(tries.len(), self.undisturbed.mails.len());
        tries
    }
}

impl Tally {
    fn add(&mut self, other: &Self) {
        self.crashes += other.crashes;
        self.mails += other.mails;
        self.doubled += other.doubled;
        self.lost += other.lost;
    }

    fn row(&self, what: &str) -> String {
        let Self {
            crashes,
            mails,
            doubled,
            lost,
        } = self;
        format!("{what:<30} {crashes:>8} {mails:>6} {doubled:>8} {lost:>5}")
    }
}

fn heading(what: &str) -> String {
    let [crashes, mails, doubled, lost] = ["crashes", "mails", "doubled", "lost"];
    format!("\n{what:<30} {crashes:>8} {mails:>6} {doubled:>8} {lost:>5}")
}

/// Waits until every talk with the server is over and nothing is on its way to a mailbox.
pub(crate) fn settle(server: &MailServer) {
    server.wait_for("the mail server to come to rest", || {
        let log = server.log();
        let begun = log.matches("]: connect from").count();
        let over = begun == log.matches("]: disconnect from").count();
        // In the order in which a mail moves through them.
        let queues = ["maildrop", "incoming", "active", "deferred"];
        let queues = queues.map(|queue| server.path("queue").join(queue));
        over && queues.iter().all(|queue| files_below(queue).is_empty())
    });
}

/// Three blocks of three growers under one adviser, each with traps that found the same.
fn farm_of_three_growers(server: &MailServer) -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.write("password", &format!("{PASSWORD}\n"));
    farm.route(&format!(
        "host = \"localhost\"\nport = {}\nsecurity = \"starttls\"\n\
         username = \"{USER}\"\npassword_file = \"password\"\nca_file = \"{}\"\n",
        server.starttls_port,
        server.authority("ca")
    ));
    farm.change("[mail]", "[telling]\nhold_hours = 0\n\n[mail]");
    let more = ["hal", "ivo"];
    for grower in more {
        farm.add_grower(grower);
    }
    farm.import("round.csv", &visits_also_of(&more));
    farm
}

fn message_id(mail: &[u8]) -> String {
    let text = std::str::from_utf8(mail).unwrap();
    let line = text.lines().find(|line| line.starts_with("Message-ID: "));
    line.unwrap()["Message-ID: ".len()..].to_owned()
}

#[test]
fn ended_at_any_point_nothing_is_lost_and_one_mail_is_doubled_at_the_most() {
    let mut scene = Scene::new();
    let points = scene.points.clone();
    let mut by_name: Vec<(&str, Tally)> = Vec::new();
    let mut all = Tally::default();
    for (number, name) in (1..).zip(&points) {
        scene.farm.restore_database(&scene.database);
        let at = number.to_string();
        let ended = scene.morning().env("DUSKFLIGHT_CRASH_AT", at).status();
        let how = format!("point {number}, {name}");
        assert_eq!(ended.unwrap().signal(), Some(6), "{how} is not reached");
        drop(as_it_lies(&scene.farm.path("duskflight.sqlite")));
        let tally = scene.finished(1, &how);
        all.add(&tally);
        match by_name.iter_mut().find(|(known, _)| known == name) {
            Some((_, sum)) => sum.add(&tally),
            None => by_name.push((name, tally)),
        }
    }
    // Each of the four mails is doubled once it has crossed and is not marked.
    assert!(points.len() > 50 && all.doubled >= 3 * PEOPLE.len());
    println!("{}", heading("ended at the point"));
    for (name, tally) in by_name {
        println!("{}", tally.row(name));
    }
    println!("{}", all.row("in all"));
}

#[test]
fn killed_at_a_hundred_random_moments_nothing_is_lost_and_each_kill_doubles_one_mail_at_the_most() {
    let mut scene = Scene::new();
    let mut dice = ChaCha8Rng::seed_from_u64(20_220_416);
    let mut all = Tally::default();
    let mut mornings = 0;
    while all.crashes < KILLS {
        scene.farm.restore_database(&scene.database);
        let mut kills = 0;
        while all.crashes + kills < KILLS {
            let mut child = scene.morning().spawn().unwrap();
            std::thread::sleep(scene.takes.mul_f64(dice.random_range(0.0..1.0)));
            // SIGKILL: no handler, no clean-up.
            child.kill().unwrap();
            let status = child.wait().unwrap();
            if status.signal().is_none() {
                assert!(status.success(), "{}", scene.server.log());
                break;
            }
            kills += 1;
            drop(as_it_lies(&scene.farm.path("duskflight.sqlite")));
        }
        mornings += 1;
        let how = format!("morning {mornings}, killed {kills} times");
        all.add(&scene.finished(kills, &how));
    }
    println!("{}", heading("killed at random"));
    println!("{}", all.row(&format!("in {mornings} mornings")));
}
