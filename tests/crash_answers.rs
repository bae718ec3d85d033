//! The daemon ended at every point on the way of an answer from the mailbox, or the watched folder, to its receipt, and
//! killed at random: its readings are stored once, it is put away, and a crash doubles a receipt at the most.

use std::collections::BTreeSet;
use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::answered_farm::{all_is_told, come_to_sam, farm_of_today, mailbox, readings, says};
use crate::answers::Sent;
use crate::crash_points::settle;
use crate::daemon::{start, start_by, wait_for};
use crate::harness::{Farm, duskflight, rows};
use crate::kept::{Kept, as_it_lies, assert_same, kept};
use crate::mailserver::MailServer;

/// So many times the daemon is killed at random, for each way in.
const KILLS: usize = 12;

/// A farm whose round mail is about to be answered.
struct Scene {
    /// Without one the answer lies in the watched folder.
    server: Option<MailServer>,
    farm: Farm,
    /// The database before the answer.
    database: Vec<u8>,
    answer: String,
    undisturbed: End,
    /// Points that an undisturbed daemon passes, and how long it takes.
    points: Vec<String>,
    takes: Duration,
}

/// What comes of an answer.
#[derive(Default)]
struct End {
    kept: Kept,
    answers: Vec<Vec<String>>,
    /// The bytes of receipts.
    receipts: Vec<Vec<u8>>,
}

/// Sums over crashes.
#[derive(Default)]
struct Tally {
    crashes: usize,
    readings: usize,
    receipts: usize,
    doubled: usize,
}

impl Scene {
    fn new(server: Option<MailServer>) -> Self {
        let inbox = match &server {
            Some(server) => mailbox(server),
            None => "[inbox]\nfolder = \"inbox\"\n".to_owned(),
        };
        let (farm, _) = farm_of_today(server.as_ref(), &inbox);
        let mut scene = Self {
            server,
            farm,
            database: Vec::new(),
            answer: String::new(),
            undisturbed: End::default(),
            points: Vec::new(),
            takes: Duration::ZERO,
        };
        let daemon = start(&scene.farm);
        daemon.looks_until("the round mail has come", || {
            scene.mails("round").len() == 1
        });
        wait_for("all has left", || all_is_told(&scene.farm, 0));
        daemon.stop("-TERM");
        scene.database = scene.farm.saved_database();
        let round = Sent::read(&scene.mails("round")[0]);
        scene.answer = says(
            &round,
            "1",
            "e1 14, bait\r\ne2 0\r\ne3 2\r\nhome split Nonpareil",
        );

        let list = scene.farm.path("points");
        scene.bring();
        let begun = Instant::now();
        let mut program = duskflight();
        program.env("DUSKFLIGHT_CRASH_LIST", &list);
        let daemon = start_by(&scene.farm, program);
        wait_for("the answer is told of", || scene.is_over());
        scene.takes = begun.elapsed();
        daemon.stop("-TERM");
        let points = fs::read_to_string(list).unwrap();
        scene.points = points.lines().map(str::to_owned).collect();
        scene.undisturbed = scene.end();
        assert_eq!(readings(&scene.farm).len(), 3);
        assert_eq!(scene.undisturbed.receipts.len(), 1);
        scene
    }

    /// Has the answer come, to a farm that knows nothing of it.
    fn bring(&self) {
        self.farm.restore_database(&self.database);
        match &self.server {
            Some(server) => {
                server.empty("office");
                server.empty("sam");
                let to = self.answer.split("To: <").nth(1).unwrap();
                let to = to.split('>').next().unwrap();
                server.bring("sam@test.example", to, self.answer.as_bytes());
                server.wait_for("the answer", || {
                    server.in_folder("office", "INBOX").len() == 1
                });
            }
            None => {
                // What was there before is removed.
                let _ = fs::remove_dir_all(self.farm.path("inbox"));
                for name in self.farm.mails() {
                    if name.contains("receipt") {
                        fs::remove_file(self.farm.path("mail").join(name)).unwrap();
                    }
                }
                fs::create_dir_all(self.farm.path("inbox/new")).unwrap();
                self.farm
                    .write("inbox/new/1764000000.M1P1.office", &self.answer);
            }
        }
    }

    /// The mails of a kind that have come to sam.
    fn mails(&self, kind: &str) -> Vec<Vec<u8>> {
        let all = match &self.server {
            Some(server) => come_to_sam(server),
            None => {
                let names = self.farm.mails().into_iter();
                let sams = names.filter(|name| name.contains("sam"));
                sams.map(|name| fs::read(self.farm.path("mail").join(name)).unwrap())
                    .collect()
            }
        };
        let is_it = |mail: &Vec<u8>| {
            // The id of a mail that is answered begins with a letter for its kind.
            let letter = if kind == "receipt" { "<q" } else { "<r" };
            Sent::read(mail).message_id.starts_with(letter)
        };
        all.into_iter().filter(is_it).collect()
    }

    /// Whether the answer is put away and its receipt has left.
    fn is_over(&self) -> bool {
        let lie = |folder: &str| fs::read_dir(self.farm.path(folder)).map_or(0, Iterator::count);
        let places = match &self.server {
            Some(server) => {
                ["INBOX", "Duskflight"].map(|folder| server.in_folder("office", folder).len())
            }
            None => ["inbox/new", "inbox/done"].map(lie),
        };
        places == [0, 1] && all_is_told(&self.farm, 1)
    }

    fn end(&self) -> End {
        if let Some(server) = &self.server {
            settle(server);
        }
        let answers =
            "SELECT id, person, kind, day, which, sent_on, asked, said, receipt FROM answer";
        End {
            kept: kept(&self.farm.path("duskflight.sqlite")),
            answers: rows(&self.farm.database(), answers),
            receipts: self.mails("receipt"),
        }
    }

    fn spawn(&self, program: &mut Command) -> Child {
        program
            .args(["run", "--config", self.farm.config()])
            .stderr(Stdio::null())
            .spawn()
            .unwrap()
    }

    /// Ends what was disturbed by so many crashes and checks what came of it.
    fn finished(&self, crashes: usize, how: &str) -> Tally {
        drop(as_it_lies(&self.farm.path("duskflight.sqlite")));
        let daemon = start(&self.farm);
        wait_for(&format!("{how}: the answer is told of"), || self.is_over());
        daemon.stop("-TERM");
        let end = self.end();
        assert_same(&end.kept, &self.undisturbed.kept, how);
        assert_eq!(end.answers, self.undisturbed.answers, "{how}");
        let history = "SELECT 1 FROM visit_history UNION ALL SELECT 1 FROM note_history";
        assert!(rows(&self.farm.database(), history).is_empty(), "{how}");
        let different: BTreeSet<&Vec<u8>> = end.receipts.iter().collect();
        assert_eq!(different.len(), 1, "{how}: receipts that are not the same");
        let doubled = end.receipts.len() - 1;
        assert!(doubled <= crashes, "{how}: {doubled} receipts more");
        Tally {
            crashes,
            readings: readings(&self.farm).len(),
            receipts: end.receipts.len(),
            doubled,
        }
    }

    /// Ends the daemon at every point of the answer's way, by number and at these names; gives a table of what came of it.
    /// What the daemon does at the same time comes in any order, so that a number is not always the same point.
    fn ended_at_every_point(&self, names: &[&str]) -> String {
        let mut by_name: Vec<(String, Tally)> = Vec::new();
        let mut all = Tally::default();
        // Before that it only opens the records.
        let opened = self
            .points
            .iter()
            .rposition(|name| name == "a step of the schema is done");
        let connects = self
            .points
            .iter()
            .position(|name| name == "mailbox connected");
        let first = connects.or(opened).unwrap();
        let list = self.farm.path("points");
        let numbers = (first + 1..=self.points.len()).map(|number| number.to_string());
        for at in numbers.chain(names.iter().map(|name| (*name).to_owned())) {
            self.bring();
            fs::remove_file(&list).unwrap();
            let mut program = duskflight();
            program
                .env("DUSKFLIGHT_CRASH_LIST", &list)
                .env("DUSKFLIGHT_CRASH_AT", &at);
            let mut child = self.spawn(&mut program);
            wait_for("it is ended or has ended its work", || {
                child.try_wait().unwrap().is_some() || self.is_over()
            });
            let ended = child.try_wait().unwrap();
            let crashes = usize::from(ended.is_some());
            child.kill().unwrap();
            let status = child.wait().unwrap();
            assert!(crashes == 0 || status.signal() == Some(6), "{status:?}");
            let passed = fs::read_to_string(&list).unwrap();
            let name = match crashes {
                0 => "at the end",
                _ => passed.lines().last().unwrap(),
            };
            // Another thread may have passed a point of its own at the same moment.
            let is_passed = passed.lines().any(|name| name == at);
            assert!(
                crashes == 0 || !names.contains(&at.as_str()) || is_passed,
                "{at} is not passed"
            );
            let tally = self.finished(1, &format!("point {at}, {name}"));
            all.add(&tally);
            match by_name.iter_mut().find(|(known, _)| known == name) {
                Some((_, sum)) => sum.add(&tally),
                None => by_name.push((name.to_owned(), tally)),
            }
        }
        let rows = by_name.iter().map(|(name, tally)| tally.row(name));
        std::iter::once(heading("ended at the point"))
            .chain(rows)
            .chain([all.row("in all")])
            .collect()
    }

    /// Kills the daemon at random; gives a table of what came of it.
    fn killed_at_random(&self) -> String {
        let mut dice = ChaCha8Rng::seed_from_u64(20_220_622);
        let mut all = Tally::default();
        let mut answers = 0;
        while all.crashes < KILLS {
            self.bring();
            let kills = dice.random_range(1..=3).min(KILLS - all.crashes);
            for _ in 0..kills {
                let mut child = self.spawn(&mut duskflight());
                std::thread::sleep(self.takes.mul_f64(dice.random_range(0.0..1.0)));
                // SIGKILL: no handler, no clean-up.
                child.kill().unwrap();
                child.wait().unwrap();
            }
            answers += 1;
            all.add(&self.finished(kills, &format!("answer {answers}, killed {kills} times")));
        }
        heading("killed at random") + &all.row(&format!("on the way of {answers} answers"))
    }
}

impl Tally {
    fn add(&mut self, other: &Self) {
        self.crashes += other.crashes;
        self.readings += other.readings;
        self.receipts += other.receipts;
        self.doubled += other.doubled;
    }

    fn row(&self, what: &str) -> String {
        let Self {
            crashes,
            readings,
            receipts,
            doubled,
        } = self;
        format!("{what:<34} {crashes:>8} {readings:>9} {receipts:>9} {doubled:>8}\n")
    }
}

fn heading(what: &str) -> String {
    let [crashes, readings, receipts, doubled] = ["crashes", "readings", "receipts", "doubled"];
    format!("\n{what:<34} {crashes:>8} {readings:>9} {receipts:>9} {doubled:>8}\n")
}

#[test]
fn an_answer_by_mail_is_stored_once_and_told_of_wherever_the_daemon_is_ended() {
    let scene = Scene::new(Some(MailServer::start(&["office", "sam", "ada", "gil"])));
    let table = scene.ended_at_every_point(&[
        "answer fetched",
        "answer taken",
        "answer flagged",
        "answer moved",
        "before receipts are written",
        "message sent",
        "message taken",
        "before it is marked as sent",
    ]);
    println!("{table}{}", scene.killed_at_random());
}

#[test]
fn an_answer_in_the_watched_folder_is_stored_once_and_told_of_wherever_the_daemon_is_ended() {
    let scene = Scene::new(None);
    let table = scene.ended_at_every_point(&[
        "before a message is put away",
        "before receipts are written",
        "a file is written",
        "before it is marked as sent",
    ]);
    println!("{table}{}", scene.killed_at_random());
}
