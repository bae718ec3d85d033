//! Sheets dropped into a folder: told apart, imported or refused, and put away.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use duskflight::clock::{Clock, SetClock};
use duskflight::config::Config;
use duskflight::records::{Outcome, Pauses, Taken, take_in};
use duskflight::store::Store;

use crate::daemon::start;
use crate::harness::{Farm, VISITS, printed, refused, rows};

/// A farm that watches the folder `drop`.
pub(crate) fn watching(newest: &str) -> Farm {
    let farm = Farm::new(newest);
    farm.change(
        "[mail]",
        "[records]\ndrop = \"drop\"\ndrop_by = \"Field crew\"\n\n[mail]",
    );
    fs::create_dir(farm.path("drop")).unwrap();
    farm
}

fn names(folder: PathBuf) -> Vec<String> {
    let Ok(entries) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let entries = entries.map(|entry| entry.unwrap().file_name());
    let mut names: Vec<String> = entries.map(|name| name.into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn dropped_sheets_are_told_apart_imported_and_put_away_and_none_overwrites_another() {
    let farm = watching("2022-04-30");
    farm.write("drop/round.csv", VISITS);
    farm.write(
        "drop/Split.CSV",
        "\u{feff}Date,Block,Kind,Variety\n2022-02-20,home,bloom,Nonpareil\n",
    );
    farm.write("drop/.round.csv", "still being copied");
    farm.write("drop/readme.txt", "not a sheet");
    let said = farm.nightly("2022-04-16");
    assert!(
        said.contains("round.csv: 20 added, 0 changed, 0 there already\n"),
        "{said}"
    );
    assert!(said.contains("Split.CSV: 1 added"), "{said}");
    let by = "SELECT DISTINCT entered_by, via FROM visit";
    assert_eq!(
        rows(&farm.database(), by),
        [["Field crew", "import round.csv"]]
    );
    assert_eq!(
        names(farm.path("drop")),
        [".round.csv", "done", "readme.txt"]
    );

    // The same name once more, with other rows.
    farm.write("drop/round.csv", "date,trap,eggs\n2022-04-19,e1,8\n");
    farm.nightly("2022-04-20");
    assert_eq!(
        names(farm.path("drop/done")),
        ["Split.csv", "round-2.csv", "round.csv"]
    );
    assert_eq!(
        fs::read_to_string(farm.path("drop/done/round.csv")).unwrap(),
        VISITS
    );
    // A crash between storing and moving leaves the file: it changes nothing.
    farm.write("drop/round.csv", VISITS);
    let said = farm.nightly("2022-04-21");
    assert!(
        said.contains("0 added, 0 changed, 20 there already"),
        "{said}"
    );
}

#[test]
fn a_row_that_changes_later_in_a_sheet_of_the_same_name_is_a_correction() {
    let farm = watching("2022-04-30");
    let sheet = |eggs| format!("date,trap,eggs\n2022-04-12,e1,{eggs}\n2022-04-12,e2,5\n");
    let stands = "SELECT trap, eggs FROM visit ORDER BY trap";
    let before = "SELECT trap, eggs FROM visit_history ORDER BY rowid";
    farm.write("drop/round.csv", &sheet(1));
    farm.nightly("2022-04-13");
    farm.write("drop/round.csv", &sheet(12));
    let said = farm.nightly("2022-04-14");
    let counted = "round.csv: 0 added, 1 changed (e1 2022-04-12), 1 there already\n";
    assert!(said.contains(counted), "{said}");
    let database = farm.database();
    assert_eq!(rows(&database, stands), [["e1", "12"], ["e2", "5"]]);
    assert_eq!(rows(&database, before), [["e1", "1"]]);

    // The count of before once more is a file that came before: what was changed since stands, and it is said.
    farm.write("drop/round.csv", &sheet(1));
    let said = farm.nightly("2022-04-15");
    assert!(said.contains("1 not applied: a later entry"), "{said}");
    assert_eq!(rows(&database, stands), [["e1", "12"], ["e2", "5"]]);
}

#[test]
fn a_refused_sheet_lies_beside_its_reasons_and_stands_in_the_digest_until_it_is_taken_away() {
    let farm = watching("2022-04-30");
    farm.write(
        "drop/bad.csv",
        "date,trap,eggs\n2022-04-05,e1,0\n2022-04-05,e9,many\n2022-13-05,e2,1\n",
    );
    farm.write("drop/costs.csv", "date,item,amount\n2022-04-05,fuel,40\n");
    fs::write(
        farm.path("drop/latin.csv"),
        b"date,trap,note\n2022-04-05,e1,\x81\n",
    )
    .unwrap();
    let old_workbook = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\0\0\n";
    fs::write(farm.path("drop/old.csv"), old_workbook).unwrap();
    let said = farm.nightly("2022-04-16");
    assert!(
        said.contains("refused: import bad.csv; nothing of it was stored"),
        "{said}"
    );
    assert_eq!(
        rows(&farm.database(), "SELECT count(*) FROM visit"),
        [["0"]]
    );
    assert_eq!(
        names(farm.path("drop/refused")),
        [
            "bad.csv",
            "bad.csv.why.txt",
            "costs.csv",
            "costs.csv.why.txt",
            "latin.csv",
            "latin.csv.why.txt",
            "old.csv",
            "old.csv.why.txt"
        ]
    );
    let why = |name: &str| fs::read_to_string(farm.path("drop/refused").join(name)).unwrap();
    assert_eq!(
        why("bad.csv.why.txt"),
        "import bad.csv; nothing of it was stored:\n  \
         row 3, column trap, \"e9\": no such trap in traps.csv; did you mean \"e1\"?\n  \
         row 3, column eggs, \"many\": write a whole number, or leave it empty\n  \
         row 4, column date, \"2022-13-05\": write a day as YYYY-MM-DD\n"
    );
    assert!(why("costs.csv.why.txt").contains("the columns of neither visits nor notes"));
    assert!(why("latin.csv.why.txt").contains("neither text nor a workbook"));
    assert!(why("old.csv.why.txt").contains("save it as .xlsx, .ods or CSV"));
    let digest = |day: &str| {
        let mail = farm.path("mail").join(format!("{day}-digest-ada.eml"));
        fs::read_to_string(mail)
            .unwrap()
            .replace("=\r\n", "")
            .replace("\r\n", " ")
    };
    let line = "dropped files were refused, nothing of them is stored: bad.csv, costs.csv, latin.csv, old.csv";
    assert!(
        digest("2022-04-16").contains(line),
        "{}",
        digest("2022-04-16")
    );

    let status = printed(&["status", "--config", farm.config()]);
    assert!(
        status.contains("drop folder: dropped files were refused"),
        "{status}"
    );

    // Dropped again under the same name it is refused beside the first one.
    farm.write("drop/bad.csv", "date,trap,eggs\n2022-04-05,e9,0\n");
    farm.nightly("2022-04-17");
    assert!(digest("2022-04-17").contains("bad-2.csv, bad.csv"));
    assert!(why("bad-2.csv.why.txt").contains("row 2, column trap"));
    fs::remove_dir_all(farm.path("drop/refused")).unwrap();
    farm.nightly("2022-04-18");
    assert!(!digest("2022-04-18").contains("dropped files"));
}

#[test]
fn a_folder_that_is_not_there_is_found_by_check_and_holds_no_night_up() {
    let farm = watching("2022-04-30");
    printed(&["check", "--config", farm.config()]);
    fs::remove_dir(farm.path("drop")).unwrap();
    let said = refused(78, &["check", "--config", farm.config()]);
    assert!(
        said.contains("the folder that records.drop names cannot be used"),
        "{said}"
    );
    let said = farm.nightly("2022-04-16");
    assert!(said.contains("dropped files are not taken in"), "{said}");
    assert_eq!(farm.mails(), ["2022-04-16-digest-ada.eml"]);
}

/// One look through the folder of a farm that has records.
async fn look(farm: &Farm) -> Vec<Taken> {
    let config = Config::read(Path::new(farm.config())).unwrap();
    let store = Store::open(&config.database).unwrap();
    let now = "2022-04-20T15:00:00Z".parse().unwrap();
    let clock: Arc<dyn Clock> = Arc::new(SetClock::at(now));
    let pause = Duration::from_millis(1);
    let pauses = Pauses {
        seen: pause,
        unseen: pause,
    };
    take_in(&store, &config, pauses, &clock).await.unwrap()
}

fn looked(farm: &Farm, meanwhile: impl FnOnce()) -> Vec<Taken> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build();
    // In this order: the first look ends in its pause, and what happens meanwhile happens in it.
    let both = async { tokio::join!(biased; look(farm), async { meanwhile() }).0 };
    runtime.unwrap().block_on(both)
}

/// A farm with records that watches a folder.
fn watching_with_records() -> Farm {
    let farm = watching("2022-04-30");
    let config = Config::read(Path::new(farm.config())).unwrap();
    Store::create(&config.database).unwrap();
    farm
}

fn appending(farm: &Farm) -> File {
    let file = farm.path("drop/round.csv");
    OpenOptions::new().append(true).open(file).unwrap()
}

fn added(taken: &[Taken]) -> Option<usize> {
    match &taken.first()?.outcome {
        Outcome::Imported(imported) => Some(imported.added),
        Outcome::Refused(_) => None,
    }
}

#[test]
fn a_sheet_that_grows_between_two_looks_waits() {
    let farm = watching_with_records();
    let (first, rest) = VISITS.split_at(VISITS.find("2022-04-12").unwrap());
    farm.write("drop/round.csv", first);
    let taken = looked(&farm, || {
        appending(&farm).write_all(rest.as_bytes()).unwrap();
    });
    assert_eq!(taken, []);
    assert_eq!(names(farm.path("drop")), ["round.csv"]);
    assert_eq!(
        rows(&farm.database(), "SELECT count(*) FROM visit"),
        [["0"]]
    );
    assert_eq!(added(&looked(&farm, || {})), Some(20));
}

#[test]
fn a_sheet_that_its_writer_holds_open_waits_until_it_is_closed() {
    let farm = watching_with_records();
    let (first, rest) = VISITS.split_at(VISITS.find("2022-04-12").unwrap());
    farm.write("drop/round.csv", first);
    let mut writer = appending(&farm);
    for _ in 0..2 {
        assert_eq!(looked(&farm, || {}), []);
    }
    writer.write_all(rest.as_bytes()).unwrap();
    drop(writer);
    // Somebody who only reads it holds nothing up.
    let _reader = File::open(farm.path("drop/round.csv")).unwrap();
    assert_eq!(added(&looked(&farm, || {})), Some(20));
}

#[test]
fn a_sheet_whose_last_row_is_open_waits_and_is_refused_once_nobody_goes_on() {
    let farm = watching_with_records();
    farm.write("drop/round.csv", "date,trap,eggs\n2022-04-19,e1,1");
    assert_eq!(looked(&farm, || {}), []);
    appending(&farm)
        .set_modified(SystemTime::UNIX_EPOCH)
        .unwrap();
    let taken = looked(&farm, || {});
    let outcome = taken.first().map(|taken| &taken.outcome);
    assert!(
        matches!(outcome, Some(Outcome::Refused(why)) if why.contains("no line end")),
        "{taken:?}"
    );
    assert_eq!(
        rows(&farm.database(), "SELECT count(*) FROM visit"),
        [["0"]]
    );
}

#[test]
fn the_daemon_takes_in_what_is_dropped_while_it_runs() {
    let farm = watching("2022-12-31");
    let daemon = start(&farm);
    farm.write("drop/round.csv", VISITS);
    daemon.looks_until("the dropped file is put away", || {
        names(farm.path("drop/done")) == ["round.csv"]
    });
    daemon.stop("-TERM");
    assert_eq!(
        rows(&farm.database(), "SELECT count(*) FROM visit"),
        [["20"]]
    );
}

#[test]
fn a_workbook_is_taken_in_and_one_that_lacks_its_end_waits() {
    let farm = watching("2022-04-30");
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data/sheets/month-day");
    let workbook = |name: &str| fs::read(sample.join(name)).unwrap();
    fs::write(farm.path("drop/Round.XLSX"), workbook("visits-pages.xlsx")).unwrap();
    fs::write(farm.path("drop/~$Round.xlsx"), "who has it open").unwrap();
    let notes = workbook("notes-office.ods");
    fs::write(farm.path("drop/notes.ods"), &notes).unwrap();
    fs::write(farm.path("drop/part.ods"), &notes[..notes.len() / 2]).unwrap();
    let said = farm.nightly("2022-04-16");
    assert!(said.contains("Round.XLSX: 6 added"), "{said}");
    assert!(said.contains("notes.ods: 5 added"), "{said}");
    assert_eq!(
        names(farm.path("drop")),
        ["done", "part.ods", "~$Round.xlsx"]
    );
    assert_eq!(names(farm.path("drop/done")), ["Round.xlsx", "notes.ods"]);

    let long_ago = SystemTime::UNIX_EPOCH;
    let part = File::options().write(true).open(farm.path("drop/part.ods"));
    part.unwrap().set_modified(long_ago).unwrap();
    let said = farm.nightly("2022-04-17");
    assert!(said.contains("damaged or has a password"), "{said}");
    assert_eq!(
        names(farm.path("drop/refused")),
        ["part.ods", "part.ods.why.txt"]
    );
}
