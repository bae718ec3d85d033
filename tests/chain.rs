//! Commands that follow each other on a farm, ended at every point of their work and killed at random.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tempfile::TempDir;

use crate::harness::{Farm, duskflight, rows};
use crate::kept::{Kept, as_it_lies, assert_same, kept};

/// Commands that follow each other on a farm.
pub(crate) struct Chain {
    pub(crate) farm: Farm,
    commands: Vec<Vec<String>>,
    /// The farm's folder before each command of an undisturbed run.
    pub(crate) before: Vec<TempDir>,
    /// The points that each passes then, and how long it takes.
    pub(crate) points: Vec<Vec<String>>,
    takes: Vec<Duration>,
    pub(crate) undisturbed: End,
}

/// What a chain comes to.
pub(crate) struct End {
    kept: Kept,
    /// Mails delivered, with their bytes.
    pub(crate) mails: BTreeMap<String, Vec<u8>>,
    /// The journal's mails.
    journal: Vec<String>,
    /// Names of the copies.
    pub(crate) copies: Vec<String>,
}

impl Chain {
    pub(crate) fn new(farm: Farm, commands: &[&[&str]]) -> Self {
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
                .stderr(Stdio::piped())
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

    pub(crate) fn command(&self, number: usize) -> Command {
        let mut command = duskflight();
        command
            .args(&self.commands[number])
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        command
    }

    pub(crate) fn database(&self) -> PathBuf {
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
    pub(crate) fn finished_from(&self, number: usize, how: &str) {
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

    /// Ends a command, begun on what was before it, at one of its points; gives in words how.
    pub(crate) fn end_at(&self, number: usize, at: usize, name: &str) -> String {
        self.back_to(number);
        let how = format!("{:?}, point {at}, {name}", self.commands[number][0]);
        let ended = self
            .command(number)
            .env("DUSKFLIGHT_CRASH_AT", at.to_string())
            .status();
        assert_eq!(ended.unwrap().signal(), Some(6), "{how} is not reached");
        self.is_sound(&how);
        how
    }

    /// Ends each command at each of its points and gives how often at each name.
    pub(crate) fn ended_at_each_point(&self) -> BTreeMap<&str, usize> {
        let mut by_name = BTreeMap::new();
        for (number, points) in self.points.iter().enumerate() {
            for (at, name) in (1..).zip(points) {
                let how = self.end_at(number, at, name);
                self.finished_from(number, &how);
                *by_name.entry(name.as_str()).or_default() += 1;
            }
        }
        by_name
    }

    /// Kills the commands so often at random; gives in how many runs.
    pub(crate) fn killed(&self, kills: usize, seed: u64) -> usize {
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

pub(crate) fn names_in(folder: &Path) -> Vec<String> {
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
