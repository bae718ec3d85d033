//! Chains of commands ended at every point of their work, and killed at random: an upgrade's first night (readings
//! brought in, schema changed, fetched, told, delivered, pruned, copied), and a copy put back. Taken up again each ends
//! as if nothing had happened, and a copy that has its name is whole.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tempfile::TempDir;

use crate::harness::{Farm, VISITS, duskflight, rows};
use crate::kept::{Kept, as_it_lies, assert_same, kept};

const MORNING: &str = "2022-04-16";
/// Beside the hundred of a morning with a real mail server.
const KILLS: usize = 100;

/// Takes back what the newest step of the schema brought.
const TO_SCHEMA_6: &str = "
    DROP TABLE accepted_records; DROP TABLE alarm; DROP TABLE answer_aside; DROP TABLE feed_tries;
    DROP TABLE feed_wait; DROP TABLE set_aside; DROP TABLE clock_doubt;
    ALTER TABLE outbox DROP COLUMN unknown_since;
    PRAGMA user_version = 6;";

/// Commands that follow each other on a farm.
struct Chain {
    farm: Farm,
    commands: Vec<Vec<String>>,
    /// The farm's folder before each command of an undisturbed run.
    before: Vec<TempDir>,
    /// The points that each passes then, and how long it takes.
    points: Vec<Vec<String>>,
    takes: Vec<Duration>,
    undisturbed: End,
}

/// What a chain comes to.
struct End {
    kept: Kept,
    /// Mails delivered, with their bytes.
    mails: BTreeMap<String, Vec<u8>>,
    /// The journal's mails.
    journal: Vec<String>,
    /// Names of the copies.
    copies: Vec<String>,
}

impl Chain {
    fn new(farm: Farm, commands: &[&[&str]]) -> Self {
        let owned = |command: &&[&str]| {
            let farm = ["--config", farm.config()];
            let words = command.iter().copied().chain(farm);
            words.map(str::to_owned).collect()
        };
        let mut chain = Self {
            commands: commands.iter().map(owned).collect(),
            farm,
            before: Vec::new(),
            points: Vec::new(),
            takes: Vec::new(),
            undisturbed: End {
                kept: Vec::new(),
                mails: BTreeMap::new(),
                journal: Vec::new(),
                copies: Vec::new(),
            },
        };
        let lists = tempfile::tempdir().unwrap();
        for number in 0..chain.commands.len() {
            let saved = tempfile::tempdir().unwrap();
            copy_folder(&chain.farm.path(""), saved.path());
            chain.before.push(saved);
            let list = lists.path().join(number.to_string());
            let begun = Instant::now();
            let ended = chain
                .command(number)
                .env("DUSKFLIGHT_CRASH_LIST", &list)
                .output();
            chain.takes.push(begun.elapsed());
            let ended = ended.unwrap();
            let said = String::from_utf8_lossy(&ended.stderr);
            assert!(ended.status.success(), "{said}");
            let points = fs::read_to_string(list).unwrap();
            chain
                .points
                .push(points.lines().map(str::to_owned).collect());
        }
        chain.undisturbed = chain.end();
        chain
    }

    fn command(&self, number: usize) -> Command {
        let mut command = duskflight();
        command
            .args(&self.commands[number])
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        command
    }

    fn database(&self) -> PathBuf {
        self.farm.path("duskflight.sqlite")
    }

    /// Puts the farm's folder back to what it was before a command.
    fn back_to(&self, number: usize) {
        empty(&self.farm.path(""));
        copy_folder(self.before[number].path(), &self.farm.path(""));
    }

    fn end(&self) -> End {
        let mails = self.farm.mails().into_iter();
        let mails = mails.map(|name| {
            let bytes = fs::read(self.farm.path("mail").join(&name));
            (name, bytes.unwrap())
        });
        End {
            kept: kept(&self.database()),
            mails: mails.collect(),
            journal: self.journal(),
            copies: names_in(&self.farm.path("backups")),
        }
    }

    /// Message-IDs of the journal's lines, but for one that was cut off.
    fn journal(&self) -> Vec<String> {
        let text = fs::read_to_string(self.farm.path("duskflight.sqlite.told.jsonl"));
        let text = text.unwrap_or_default();
        let lines = text.lines().filter_map(|line| {
            let line: serde_json::Value = serde_json::from_str(line).ok()?;
            Some(line["mail"].as_str().unwrap().to_owned())
        });
        let mut mails: Vec<String> = lines.collect();
        mails.sort();
        mails.dedup();
        mails
    }

    /// As a crash left it, nothing is broken: the database is whole or away, and so is every copy that has its name.
    fn is_sound(&self, how: &str) {
        let database = self.database();
        if database.exists() {
            drop(as_it_lies(&database));
        }
        let copies = self.farm.path("backups");
        for name in names_in(&copies) {
            if name.ends_with(".sqlite") {
                let (_dir, copy) = as_it_lies(&copies.join(&name));
                let visits = rows(&copy, "SELECT count(*) FROM visit");
                assert_ne!(visits, [["0"]], "{how}: {name} is no copy");
            }
        }
    }

    /// Goes on from a command to the end, which must be that of an undisturbed run.
    fn finished_from(&self, number: usize, how: &str) {
        for next in number..self.commands.len() {
            let ended = self.command(next).stderr(Stdio::piped()).output().unwrap();
            let said = String::from_utf8_lossy(&ended.stderr);
            assert!(ended.status.success(), "{how}: {said}");
        }
        let end = self.end();
        let expected = &self.undisturbed;
        assert_same(&end.kept, &expected.kept, how);
        assert!(end.mails == expected.mails, "{how}: other mails");
        assert_eq!(end.journal, expected.journal, "{how}");
        let kept = |copy| end.copies.contains(copy);
        assert!(expected.copies.iter().all(kept), "{how}: {:?}", end.copies);
        // Old ones that were to be removed are on the next night.
        let whole = |copy: &String| copy.ends_with(".sqlite");
        assert!(end.copies.iter().all(whole), "{how}: {:?}", end.copies);
    }

    /// Ends each command at each of its points and gives how often at each name.
    fn ended_at_each_point(&self) -> BTreeMap<&str, usize> {
        let mut by_name = BTreeMap::new();
        for (number, points) in self.points.iter().enumerate() {
            for (at, name) in (1..).zip(points) {
                self.back_to(number);
                let how = format!("{:?}, point {at}, {name}", self.commands[number][0]);
                let ended = self
                    .command(number)
                    .env("DUSKFLIGHT_CRASH_AT", at.to_string())
                    .status();
                assert_eq!(ended.unwrap().signal(), Some(6), "{how} is not reached");
                self.is_sound(&how);
                self.finished_from(number, &how);
                *by_name.entry(name.as_str()).or_default() += 1;
            }
        }
        by_name
    }

    /// Kills the commands so often at random; gives in how many runs.
    fn killed(&self, kills: usize, seed: u64) -> usize {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let (mut done, mut runs) = (0, 0);
        while done < kills {
            runs += 1;
            self.back_to(0);
            let mut number = 0;
            while done < kills && number < self.commands.len() {
                let mut child = self.command(number).spawn().unwrap();
                std::thread::sleep(self.takes[number].mul_f64(dice.random_range(0.0..1.1)));
                // SIGKILL: no handler, no clean-up.
                child.kill().unwrap();
                let status = child.wait().unwrap();
                if status.signal().is_some() {
                    done += 1;
                    self.is_sound(&format!("kill {done}"));
                } else {
                    assert!(status.success());
                    number += 1;
                }
            }
            self.finished_from(number, &format!("run {runs}, after {done} kills"));
        }
        runs
    }
}

fn names_in(folder: &Path) -> Vec<String> {
    let Ok(entries) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let names = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.collect();
    names.sort();
    names
}

fn empty(folder: &Path) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        match path.is_dir() {
            true => fs::remove_dir_all(path).unwrap(),
            false => fs::remove_file(path).unwrap(),
        }
    }
}

fn copy_folder(from: &Path, to: &Path) {
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let to = to.join(entry.file_name());
        match entry.path().is_dir() {
            true => {
                fs::create_dir(&to).unwrap();
                copy_folder(&entry.path(), &to);
            }
            false => drop(fs::copy(entry.path(), to).unwrap()),
        }
    }
}

fn table(chain: &str, by_name: &BTreeMap<&str, usize>) -> String {
    let row = |(name, crashes): (&&str, &usize)| format!("\n  {name:<38} {crashes:>7}");
    let rows: String = by_name.iter().map(row).collect();
    let all: usize = by_name.values().sum();
    format!("\n{chain:<40} crashes{rows}{}", row((&"in all", &all)))
}

/// A farm of three springs before the first morning of a newer version, with copies of a dozen days; its newest readings
/// lie in a sheet.
fn before_an_upgrade() -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.change("[mail]", "[telling]\nhold_hours = 0\n\n[mail]");
    // What each kept becomes too old between the tenth of April and the morning: a run, a fetch, what mails said.
    for day in ["2019-04-10", "2020-02-03", "2021-03-08"] {
        farm.nightly(day);
    }
    let journal = "duskflight.sqlite.told.jsonl";
    let of_years = fs::read_to_string(farm.path(journal)).unwrap();
    assert!(of_years.contains("2020-02-03"));
    for day in 12..=14 {
        farm.nightly(&format!("2022-01-{day}"));
    }
    let (before, newest) = VISITS.split_at(VISITS.find("2022-04-12").unwrap());
    farm.import("before.csv", before);
    farm.nightly("2022-04-10");
    let of_now = fs::read_to_string(farm.path(journal)).unwrap();
    assert!(!of_now.contains("2020-02-03"));
    farm.write(journal, &(of_years + &of_now));
    farm.write(
        "round.csv",
        &format!("{}\n{newest}", VISITS.lines().next().unwrap()),
    );
    farm.database().execute_batch(TO_SCHEMA_6).unwrap();
    leave_pages(&farm);
    fs::remove_dir_all(farm.path("backups")).unwrap();
    fs::create_dir(farm.path("backups")).unwrap();
    let database = farm.saved_database();
    for day in 1..=12 {
        let copy = farm.path(&format!("backups/duskflight-2022-04-{day:02}.sqlite"));
        fs::write(copy, &database).unwrap();
    }
    farm
}

/// Leaves so many pages that hold nothing that the morning does not fill all of them, and a few are given back.
fn leave_pages(farm: &Farm) {
    let database = farm.database();
    let pages = |of: &str| -> i64 {
        rows(&database, &format!("PRAGMA {of}"))[0][0]
            .parse()
            .unwrap()
    };
    let (all, free) = (pages("page_count"), pages("freelist_count"));
    let more = (all - free) / 10 + 60 - free;
    let filled = format!(
        "CREATE TABLE filler (x);
         WITH RECURSIVE page (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM page WHERE n < {more})
         INSERT INTO filler SELECT zeroblob(4000) FROM page;
         DROP TABLE filler;"
    );
    database.execute_batch(&filled).unwrap();
}

fn an_upgrade() -> Chain {
    let farm = before_an_upgrade();
    let sheet = farm.path("round.csv").to_str().unwrap().to_owned();
    let chain = Chain::new(
        farm,
        &[
            &["visits", "import", &sheet],
            &["nightly", "--as-of", MORNING],
        ],
    );
    let mails: Vec<&String> = chain.undisturbed.mails.keys().collect();
    let expected = ["2022-04-16-alert-gil", "2022-04-16-digest-ada.eml"];
    for name in expected {
        assert!(mails.iter().any(|mail| mail.starts_with(name)), "{mails:?}");
    }
    let copies = &chain.undisturbed.copies;
    assert!(
        copies.contains(&"duskflight-schema-6.sqlite".to_owned()),
        "{copies:?}"
    );
    assert!(
        !copies.contains(&"duskflight-2022-04-01.sqlite".to_owned()),
        "{copies:?}"
    );
    chain
}

#[test]
fn an_upgrades_first_night_ended_at_any_point_and_taken_up_again_ends_like_an_undisturbed_one() {
    let chain = an_upgrade();
    let by_name = chain.ended_at_each_point();
    for name in [
        "an answer has come",
        "a step of the schema is done",
        "before a commit",
        "a file is written",
        "lines are added to the journal",
        "a shorter journal is in its place",
        "a page is freed",
        "a copy is begun",
        "a copy is written",
        "a copy is checked",
        "a copy has its name",
        "an old copy is removed",
    ] {
        assert!(by_name.contains_key(name), "{name}: {by_name:?}");
    }
    println!("{}", table("an upgrade's first night", &by_name));
}

#[test]
fn an_upgrades_first_night_killed_a_hundred_times_ends_like_an_undisturbed_one() {
    let runs = an_upgrade().killed(KILLS, 20_220_416);
    println!("\nan upgrade's first night: {KILLS} kills in {runs} runs");
}

/// Records of the first schema, as a first version left them.
const OF_SCHEMA_1: &str = "
    INSERT INTO visit VALUES
      ('e1', '2022-04-05', 0, NULL, NULL, NULL, 1, '', '', 10, 'ada', 'import a.csv', 'aaaa:1'),
      ('e2', '2022-04-05', 2, NULL, NULL, NULL, 1, 'bait', '', 20, 'ada', 'import b.csv', 'bbbb:1');
    INSERT INTO visit_history VALUES
      ('e2', '2022-04-05', 1, NULL, NULL, NULL, 1, '', '', 10, 'ada', 'import a.csv', 'aaaa:2', 20);
    INSERT INTO note VALUES
      ('home', '', 'egg-laying-start', '2022-04-20', '2022-04-12', 'own book', 10, 'ada', 'import n.csv', 'cccc:1');
    PRAGMA user_version = 1;";

#[test]
fn records_of_the_first_schema_ended_at_any_step_to_the_newest_lose_nothing() {
    let farm = Farm::new("2022-04-30");
    fs::remove_file(farm.path("duskflight.sqlite")).unwrap();
    let old = farm.database();
    old.execute_batch(include_str!("../daemon/src/store/schema.sql"))
        .unwrap();
    old.execute_batch(OF_SCHEMA_1).unwrap();
    drop(old);
    farm.write("round.csv", VISITS);
    let sheet = farm.path("round.csv").to_str().unwrap().to_owned();
    let chain = Chain::new(farm, &[&["visits", "import", &sheet]]);
    assert_eq!(chain.undisturbed.copies, ["duskflight-schema-1.sqlite"]);
    let by_name = chain.ended_at_each_point();
    assert!(by_name["a step of the schema is done"] >= 6, "{by_name:?}");
    println!("{}", table("records of the first schema", &by_name));
}

#[test]
fn a_copy_put_back_is_ended_at_any_point_and_put_back_all_the_same_and_nothing_is_thrown_away() {
    let farm = Farm::new("2022-06-30");
    farm.import("round.csv", VISITS);
    for day in [16, 17] {
        farm.nightly(&format!("2022-04-{day}"));
    }
    // Somebody was killed: the newest that was written lies in the log beside the file.
    let killed = farm.database();
    killed
        .execute_batch("CREATE TABLE of_the_log (x); INSERT INTO of_the_log VALUES (1)")
        .unwrap();
    let chain = Chain::new(
        farm,
        &[
            &["restore", "latest", "--as-of", "2022-04-18"],
            &["nightly", "--as-of", "2022-04-18"],
        ],
    );
    let log = fs::read(chain.before[0].path().join("duskflight.sqlite-wal")).unwrap();
    let file = fs::read(chain.before[0].path().join("duskflight.sqlite")).unwrap();
    let mut by_name: BTreeMap<&str, usize> = BTreeMap::new();
    for (at, name) in (1..).zip(&chain.points[0]) {
        chain.back_to(0);
        let how = format!("point {at}, {name}");
        let ended = chain
            .command(0)
            .env("DUSKFLIGHT_CRASH_AT", at.to_string())
            .status();
        assert_eq!(ended.unwrap().signal(), Some(6), "{how} is not reached");
        chain.is_sound(&how);
        if !chain.database().exists() {
            let told = chain.command(1).status().unwrap();
            assert!(!told.success(), "{how}: told without records");
        }
        chain.finished_from(0, &how);
        let beside = names_in(&chain.farm.path(""));
        let aside = beside.iter().filter(|name| name.contains(".before-"));
        let aside: Vec<Vec<u8>> = aside
            .map(|name| fs::read(chain.farm.path(name)).unwrap())
            .collect();
        assert!(
            aside.contains(&file) && aside.contains(&log),
            "{how}: {beside:?}"
        );
        assert!(
            !beside.iter().any(|name| name.ends_with(".restoring")),
            "{how}"
        );
        *by_name.entry(name).or_default() += 1;
    }
    println!("{}", table("a copy put back", &by_name));
}
