//! Every fault of the records on every twentieth night of the demo's season, with the journal kept and lost: nobody is
//! told a false thing.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use duskflight::demo::{DemoError, Observer, play};
use duskflight::runner::jobs::Workshop;
use rusqlite::Connection;
use tempfile::TempDir;

use crate::harness::{rows, run};

/// What can befall the files of the records.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fault {
    Header,
    Page,
    Log,
    CutShort,
    Empty,
    Missing,
    Older,
}

const FAULTS: [Fault; 7] = [
    Fault::Header,
    Fault::Page,
    Fault::Log,
    Fault::CutShort,
    Fault::Empty,
    Fault::Missing,
    Fault::Older,
];

const DATABASE: &str = "duskflight.sqlite";

/// What was told of a block's event to a person: the value, or none where it was taken back.
type Ledger = BTreeMap<(String, String, String), Option<String>>;

/// What came of the faults.
#[derive(Debug, Default)]
struct Counted {
    nights: usize,
    runs: usize,
    /// Runs that told growers anything.
    told: usize,
    /// What growers were told, and is not so.
    untrue: Vec<String>,
    exits: BTreeMap<(Fault, bool, Option<i32>), usize>,
}

/// Tries the faults on copies of the farm, between the nights of its season.
struct Spoiler {
    farm: PathBuf,
    nights: usize,
    /// The records of twenty nights ago.
    older: Option<Vec<u8>>,
    counted: Counted,
}

impl Observer for Spoiler {
    async fn night(&mut self, day: NaiveDate, workshop: &Workshop) -> Result<(), DemoError> {
        self.nights += 1;
        if !self.nights.is_multiple_of(20) {
            return Ok(());
        }
        let older = self.older.clone();
        let farm = self.farm.clone();
        let tried = tokio::task::spawn_blocking(move || try_all(&farm, day, older.as_deref()));
        let counted = tried.await.unwrap();
        self.counted.nights += 1;
        self.counted.runs += counted.runs;
        self.counted.told += counted.told;
        self.counted.untrue.extend(counted.untrue);
        for (key, times) in counted.exits {
            *self.counted.exits.entry(key).or_default() += times;
        }
        workshop.store.checkpoint().await?;
        self.older = Some(fs::read(self.farm.join(DATABASE)).unwrap());
        Ok(())
    }
}

fn try_all(farm: &Path, day: NaiveDate, older: Option<&[u8]>) -> Counted {
    let mut counted = Counted::default();
    let next = day.succ_opt().unwrap();
    // Looking at it writes its log of writes into it.
    let before = ledger(copy(farm).path());
    let undisturbed = copy(farm);
    let code = nightly(undisturbed.path(), next);
    assert_eq!(code, Some(0), "{next}");
    let truth = ledger(undisturbed.path());
    for fault in FAULTS {
        for journal in [true, false] {
            let spoilt = copy(farm);
            if !spoil(spoilt.path(), fault, journal, older) {
                continue;
            }
            let code = nightly(spoilt.path(), next);
            *counted.exits.entry((fault, journal, code)).or_default() += 1;
            if matches!(fault, Fault::Empty | Fault::Missing) {
                // What somebody without a copy would do.
                let _ = fs::remove_file(spoilt.path().join(DATABASE));
                let made = run(&["init", spoilt.path().to_str().unwrap(), "--records"]);
                assert!(made.status.success(), "{made:?}");
                nightly(spoilt.path(), next);
            }
            counted.runs += 1;
            let told = news(spoilt.path(), next);
            counted.told += usize::from(!told.is_empty());
            let case = format!(
                "{next} {fault:?}, journal {}",
                if journal { "kept" } else { "lost" }
            );
            let untrue = told
                .iter()
                .filter(|(what, value)| !is_true(what, value.as_deref(), &truth, &before));
            counted.untrue.extend(
                untrue.map(|(what, value)| {
                    format!("{case}: {what:?} {value:?}, {:?}", truth.get(what))
                }),
            );
        }
    }
    counted
}

/// A copy of a farm's folder as it lies there, without its mails and backups.
fn copy(farm: &Path) -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    copy_files(farm, dir.path());
    dir
}

fn copy_files(from: &Path, to: &Path) {
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let (name, target) = (entry.file_name(), to.join(entry.file_name()));
        if entry.path().is_file() {
            fs::copy(entry.path(), target).unwrap();
        } else if name == "insects" {
            fs::create_dir(&target).unwrap();
            copy_files(&entry.path(), &target);
        }
    }
}

/// Spoils the records; says whether there was anything to spoil.
fn spoil(farm: &Path, fault: Fault, journal: bool, older: Option<&[u8]>) -> bool {
    if !journal {
        fs::remove_file(farm.join(format!("{DATABASE}.told.jsonl"))).unwrap();
    }
    let (database, log) = (farm.join(DATABASE), farm.join(format!("{DATABASE}-wal")));
    if fault != Fault::Log {
        // The log would mend some of what is spoilt.
        let whole = Connection::open(&database).unwrap();
        rows(&whole, "PRAGMA wal_checkpoint(TRUNCATE)");
        drop(whole);
    }
    let spoilt = if fault == Fault::Log { &log } else { &database };
    let Ok(mut bytes) = fs::read(spoilt) else {
        return false;
    };
    let middle = bytes.len() / 4096 / 2 * 4096;
    match (fault, older) {
        (Fault::Header, _) => bytes[..100].fill(0xa5),
        (Fault::Page | Fault::Log, _) if bytes.len() > middle + 4096 => {
            bytes[middle..middle + 4096].fill(0xa5);
        }
        (Fault::CutShort, _) => bytes.truncate(bytes.len() / 2),
        (Fault::Empty, _) => bytes.clear(),
        (Fault::Missing, _) => return fs::remove_file(spoilt).is_ok(),
        (Fault::Older, Some(older)) => bytes = older.to_vec(),
        (Fault::Page | Fault::Log, _) | (Fault::Older, None) => return false,
    }
    fs::write(spoilt, bytes).unwrap();
    true
}

fn nightly(farm: &Path, day: NaiveDate) -> Option<i32> {
    let farm = farm.to_str().unwrap();
    let night = run(&["nightly", "--config", farm, "--as-of", &day.to_string()]);
    night.status.code()
}

/// What each grower was told last.
fn ledger(farm: &Path) -> Ledger {
    told(farm, "1")
}

/// What growers were told on a day by mails that do not wait for the adviser's word.
fn news(farm: &Path, day: NaiveDate) -> Ledger {
    told(
        farm,
        &format!("told.day = '{day}' AND outbox.state != 'held'"),
    )
}

fn told(farm: &Path, which: &str) -> Ledger {
    let Ok(database) = Connection::open(farm.join(DATABASE)) else {
        return Ledger::new();
    };
    let sql = format!(
        "SELECT told.person, block, event, coalesce(value, '') FROM told JOIN outbox ON outbox.message_id = mail
         WHERE outbox.kind = 'alert' AND told.person != 'orsa' AND {which} ORDER BY season, revision"
    );
    // What is damaged tells nothing.
    let Ok(mut statement) = database.prepare(&sql) else {
        return Ledger::new();
    };
    let row = |row: &rusqlite::Row<'_>| {
        let key = (row.get(0)?, row.get(1)?, row.get(2)?);
        Ok((key, row.get::<_, String>(3)?))
    };
    let found = statement.query_map([], row).unwrap();
    found
        .map_while(Result::ok)
        .map(|(key, value)| (key, Some(value).filter(|value| !value.is_empty())))
        .collect()
}

/// Whether it is what the farm tells without the fault, the day before or that day: of a range, where they meet.
fn is_true(
    what: &(String, String, String),
    value: Option<&str>,
    truth: &Ledger,
    before: &Ledger,
) -> bool {
    let known = |ledger: &Ledger| match (value, ledger.get(what)) {
        (None, Some(None)) => true,
        (Some(told), Some(Some(known))) => meet(told, known),
        _ => false,
    };
    known(truth) || known(before)
}

fn meet(one: &str, other: &str) -> bool {
    let (one, other) = (days(one), days(other));
    match (
        one.iter().min(),
        one.iter().max(),
        other.iter().min(),
        other.iter().max(),
    ) {
        (Some(first), Some(last), Some(begin), Some(end)) => first <= end && begin <= last,
        _ => one == other,
    }
}

fn days(value: &str) -> Vec<NaiveDate> {
    let words = value.split(|letter: char| !letter.is_ascii_digit() && letter != '-');
    words.filter_map(|word| word.parse().ok()).collect()
}

#[tokio::test]
#[ignore = "plays a season: tests/long"]
async fn no_fault_of_the_records_on_any_twentieth_night_tells_a_grower_what_is_not_so() {
    let dir = tempfile::tempdir().unwrap();
    let mut spoiler = Spoiler {
        farm: dir.path().to_owned(),
        nights: 0,
        older: None,
        counted: Counted::default(),
    };
    play(dir.path(), 2022, &mut spoiler).await.unwrap();
    let counted = spoiler.counted;
    println!(
        "{} nights, {} faults, {} of them told growers something",
        counted.nights, counted.runs, counted.told
    );
    for ((fault, journal, code), times) in &counted.exits {
        let journal = if *journal { "kept" } else { "lost" };
        println!("{fault:?}, journal {journal}: exit {code:?} on {times} nights");
    }
    assert!(counted.nights >= 10 && counted.runs >= 120, "{counted:?}");
    assert_eq!(counted.untrue, [""; 0]);
}
