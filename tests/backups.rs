//! Copies of the records: made each night, and put back without a false word to anybody.

use std::fs::{self, File};

use duskflight::store::Store;

use crate::harness::{Farm, VISITS, printed, refused, rows};

/// A farm whose newest readings were entered, and told, after the copy of 12 April.
fn told() -> Farm {
    let farm = Farm::new("2022-06-30");
    let (before, newest) = VISITS.split_once("2022-04-12").unwrap();
    farm.import("round.csv", before);
    farm.nightly("2022-04-12");
    farm.import("newest.csv", &newest_sheet(newest));
    for day in 16..=18 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    farm
}

fn newest_sheet(rows: &str) -> String {
    let heading = VISITS.lines().next().unwrap();
    format!("{heading}\n2022-04-12{rows}")
}

fn copies(farm: &Farm) -> Vec<String> {
    let entries = fs::read_dir(farm.path("backups")).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn restore(farm: &Farm, copy: &str) -> String {
    let as_of = ["--as-of", "2022-04-19"];
    printed(&[&["restore", copy, "--config", farm.config()], &as_of[..]].concat())
}

fn nothing_beside(farm: &Farm) {
    for ending in ["-wal", "-shm"] {
        let beside = farm.path(&format!("duskflight.sqlite{ending}"));
        assert!(!beside.exists(), "{}", beside.display());
    }
}

#[test]
fn each_night_leaves_a_copy_and_the_file_alone_has_all() {
    let farm = told();
    let days = ["12", "16", "17", "18"];
    let expected = days.map(|day| format!("duskflight-2022-04-{day}.sqlite"));
    assert_eq!(copies(&farm), expected);
    nothing_beside(&farm);
    for command in ["status", "backup", "accept-records"] {
        printed(&[command, "--config", farm.config()]);
        nothing_beside(&farm);
    }
    assert_eq!(copies(&farm).len(), 5, "one of today");
}

#[test]
fn the_newest_copy_put_back_tells_nobody_anything_twice_and_takes_nothing_back() {
    let (farm, undisturbed) = (told(), told());
    fs::write(farm.path("duskflight.sqlite"), "lost").unwrap();
    let said = restore(&farm, "latest");
    assert!(said.contains("duskflight-2022-04-18.sqlite"), "{said}");
    assert!(said.contains("2022-04-18  digest to ada"), "{said}");
    assert!(said.contains("nothing is missing"), "{said}");
    nothing_beside(&farm);
    let names = fs::read_dir(farm.path("")).unwrap();
    let kept = names.map(|entry| entry.unwrap().path());
    let kept: Vec<_> = kept
        .filter(|path| path.to_string_lossy().contains("sqlite.before-"))
        .collect();
    assert_eq!(kept.len(), 1, "{kept:?}");
    assert_eq!(fs::read_to_string(&kept[0]).unwrap(), "lost");
    for farm in [&farm, &undisturbed] {
        farm.nightly("2022-04-19");
        farm.nightly("2022-04-20");
    }
    assert_eq!(farm.mails().len(), undisturbed.mails().len());
    let ledger =
        "SELECT person, block, event, revision, change, value FROM told ORDER BY 1, 2, 3, 4";
    assert_eq!(
        rows(&farm.database(), ledger),
        rows(&undisturbed.database(), ledger)
    );
}

#[test]
fn a_copy_without_the_newest_readings_says_so_and_waits_for_them() {
    let farm = told();
    let mails = farm.mails().len();
    let copy = farm.path("backups/duskflight-2022-04-12.sqlite");
    let said = restore(&farm, copy.to_str().unwrap());
    assert!(
        said.contains("import the sheets since then again"),
        "{said}"
    );
    let nightly = [
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-19",
    ];
    assert!(refused(75, &nightly).contains("records are missing"));
    assert_eq!(
        copies(&farm).len(),
        4,
        "no copy of records that are missing"
    );
    assert_eq!(farm.mails().len(), mails + 1, "to the adviser alone");
    let (_, newest) = VISITS.split_once("2022-04-12").unwrap();
    farm.import("again.csv", &newest_sheet(newest));
    farm.nightly("2022-04-20");
    let taken_back =
        "SELECT count(*) FROM told WHERE change IN ('withdrawn', 'corrected', 'found-again')";
    assert_eq!(rows(&farm.database(), taken_back), [["0"]]);
}

#[test]
fn a_copy_that_is_damaged_missing_or_no_database_changes_nothing() {
    let farm = told();
    let copy = farm.path("backups/duskflight-2022-04-18.sqlite");
    let whole = fs::read(&copy).unwrap();
    let before = fs::read(farm.path("duskflight.sqlite")).unwrap();
    let mut header = whole.clone();
    header[..16].fill(0xa5);
    let mut page = whole.clone();
    page[8192..12288].fill(0xa5);
    let cut = &whole[..whole.len() / 2];
    for bytes in [&header[..], &page, cut, b""] {
        fs::write(&copy, bytes).unwrap();
        let said = refused(2, &["restore", "latest", "--config", farm.config()]);
        assert!(
            said.contains("nothing was changed") && !said.contains("restore latest"),
            "{said}"
        );
        assert!(fs::read(farm.path("duskflight.sqlite")).unwrap() == before);
    }
    fs::remove_dir_all(farm.path("backups")).unwrap();
    let none = refused(2, &["restore", "latest", "--config", farm.config()]);
    assert!(none.contains("no copy of a day"), "{none}");
    assert!(fs::read(farm.path("duskflight.sqlite")).unwrap() == before);
}

#[test]
fn nobody_writes_while_a_copy_is_put_in_place_and_none_is_while_somebody_writes() {
    let farm = told();
    let sheet = farm.path("round.csv").to_str().unwrap().to_owned();
    let import = ["visits", "import", &sheet, "--config", farm.config()];
    let writer = Store::open(&farm.path("duskflight.sqlite")).unwrap();
    printed(&import);
    let said = refused(75, &["restore", "latest", "--config", farm.config()]);
    assert!(said.contains("nothing was changed"), "{said}");
    drop(writer);

    let restoring = File::open(farm.path("duskflight.open.lock")).unwrap();
    restoring.lock().unwrap();
    for command in [&import[..], &["backup", "--config", farm.config()]] {
        let said = refused(75, command);
        assert!(said.contains("a copy is put in its place"), "{said}");
    }
    // Who only reads is not turned away.
    printed(&["status", "--config", farm.config()]);
    drop(restoring);
    printed(&import);
    restore(&farm, "latest");
}
