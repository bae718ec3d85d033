//! Records that are lost, older or back again: what was told stays told, and nobody hears a false thing.

use std::fs;

use crate::harness::{Farm, VISITS, printed, refused, rows};

/// What each person was told last by a mail that left.
const LEDGER: &str = "SELECT told.person, block, event, max(revision), change, value FROM told
  JOIN outbox ON outbox.message_id = mail AND state = 'sent'
  GROUP BY told.person, block, event ORDER BY told.person, block, event";

/// A farm of five growers with the same traps, all of whose starts were told by the morning of 24 April.
fn told() -> Farm {
    let farm = Farm::new("2022-06-30");
    let growers = ["hal", "ivy", "jon", "kim"];
    for grower in growers {
        farm.add_grower(grower);
    }
    farm.import("round.csv", &crate::harness::visits_also_of(&growers));
    for day in ["10", "16", "17", "23", "24"] {
        farm.nightly(&format!("2022-04-{day}"));
    }
    farm
}

/// Takes the database away, and leaves the journal.
fn take_away(farm: &Farm) {
    for ending in ["", "-wal", "-shm"] {
        // Not all of them are always there.
        let _ = fs::remove_file(farm.path(&format!("duskflight.sqlite{ending}")));
    }
}

/// An empty database where the one with the records was.
fn lose(farm: &Farm) {
    take_away(farm);
    let missing = refused(1, &["nightly", "--config", farm.config()]);
    assert!(
        missing.contains("nothing was made in its place"),
        "{missing}"
    );
    printed(&["init", farm.config(), "--records"]);
}

fn nightly_is_refused(farm: &Farm, day: &str) -> String {
    refused(75, &["nightly", "--config", farm.config(), "--as-of", day])
}

/// The mails that came since, but for those that only say that records are missing.
fn mails_but_of_records(farm: &Farm, before: &[String]) -> Vec<String> {
    let mut since = farm.mails();
    since.retain(|name| !before.contains(name) && !name.contains("records"));
    since
}

fn new_mails(farm: &Farm, before: &[String]) -> usize {
    farm.mails().len() - before.len()
}

#[test]
fn a_lost_database_takes_nothing_back_and_tells_its_advisers_alone_each_morning() {
    let farm = told();
    let (mails, ledger) = (farm.mails(), rows(&farm.database(), LEDGER));
    lose(&farm);
    for day in 25..=26 {
        let said = nightly_is_refused(&farm, &format!("2022-04-{day}"));
        assert!(said.contains("records are missing"), "{said}");
    }
    assert_eq!(mails_but_of_records(&farm, &mails), [""; 0]);
    assert_eq!(new_mails(&farm, &mails), 2, "one to the adviser a morning");
    assert_eq!(rows(&farm.database(), LEDGER), ledger);
    let status = printed(&["status", "--config", farm.config()]);
    assert!(status.contains("The database has 0 readings"), "{status}");
    let ill = refused(75, &["status", "--healthcheck", "--config", farm.config()]);
    assert!(ill.contains("0 readings"), "{ill}");
    // Tried again on the same morning, it says the same to nobody.
    nightly_is_refused(&farm, "2022-04-26");
    assert_eq!(new_mails(&farm, &mails), 2);
}

#[test]
fn sheets_that_are_imported_again_settle_it_and_the_season_goes_on_as_if_nothing_had_been() {
    let (farm, undisturbed) = (told(), told());
    lose(&farm);
    nightly_is_refused(&farm, "2022-04-25");
    let growers = ["hal", "ivy", "jon", "kim"];
    farm.import("again.csv", &crate::harness::visits_also_of(&growers));
    for farm in [&farm, &undisturbed] {
        for day in 26..=29 {
            farm.nightly(&format!("2022-04-{day}"));
        }
    }
    assert_eq!(
        rows(&farm.database(), LEDGER),
        rows(&undisturbed.database(), LEDGER)
    );
    let alerts = |farm: &Farm| {
        let mut names = farm.mails();
        names.retain(|name| name.contains("alert"));
        names.len()
    };
    assert_eq!(alerts(&farm), alerts(&undisturbed));
}

#[test]
fn what_would_be_taken_back_is_listed_before_it_is_accepted_and_told_only_then() {
    let farm = told();
    let mails = farm.mails();
    lose(&farm);
    nightly_is_refused(&farm, "2022-04-25");
    let accept = |more: &[&str]| {
        let asked = ["accept-records", "--config", farm.config()];
        printed(&[&asked[..], &["--as-of", "2022-04-25"], more].concat())
    };
    let listed = accept(&[]);
    assert!(listed.contains("rested on 100 readings"), "{listed}");
    assert!(
        listed.contains("Gil Marrow, Home block: egg-laying start"),
        "{listed}"
    );
    assert!(listed.contains("nothing is changed"), "{listed}");
    nightly_is_refused(&farm, "2022-04-25");
    accept(&["--yes"]);
    assert!(accept(&[]).contains("nothing is missing"));
    farm.nightly("2022-04-26");
    let digests = mails_but_of_records(&farm, &mails);
    assert!(
        digests.iter().all(|name| name.contains("digest")),
        "{digests:?}"
    );
    // Two dates of each grower: fewer than wait until somebody has looked at them.
    let waiting =
        "SELECT count(*) FROM outbox WHERE kind = 'alert' AND state = 'queued' AND held_by IS NULL";
    assert_eq!(rows(&farm.database(), waiting), [["5"]]);
}

#[test]
fn what_is_back_after_it_was_taken_back_is_found_again_and_not_new() {
    let farm = told();
    lose(&farm);
    nightly_is_refused(&farm, "2022-04-25");
    printed(&["accept-records", "--yes", "--config", farm.config()]);
    farm.nightly("2022-04-26");
    farm.import("found.csv", VISITS);
    farm.nightly("2022-04-27");
    let changes = "SELECT change FROM told WHERE person = 'ada' AND block = 'home' AND event = 'egg-laying-start' ORDER BY revision";
    let changes: Vec<String> = rows(&farm.database(), changes).concat();
    assert_eq!(changes[changes.len() - 2..], ["withdrawn", "found-again"]);
    let subject = "SELECT subject FROM outbox WHERE kind = 'digest' AND day = '2022-04-27'";
    let subject = rows(&farm.database(), subject).concat().concat();
    assert!(subject.contains("found again"), "{subject}");
}

#[test]
fn an_older_copy_without_the_newest_readings_takes_nothing_back_either() {
    let farm = Farm::new("2022-06-30");
    let (before, newest) = VISITS.split_once("2022-04-12").unwrap();
    farm.import("round.csv", before);
    farm.nightly("2022-04-12");
    let copy = farm.saved_database();
    let heading = VISITS.lines().next().unwrap();
    farm.import("newest.csv", &format!("{heading}\n2022-04-12{newest}"));
    for day in 16..=18 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let mails = farm.mails();
    take_away(&farm);
    fs::write(farm.path("duskflight.sqlite"), &copy).unwrap();
    let said = nightly_is_refused(&farm, "2022-04-19");
    assert!(said.contains("records are missing"), "{said}");
    assert_eq!(mails_but_of_records(&farm, &mails), [""; 0]);
    farm.import("again.csv", &format!("{heading}\n2022-04-12{newest}"));
    farm.nightly("2022-04-20");
    let taken_back =
        "SELECT count(*) FROM told WHERE change IN ('withdrawn', 'corrected', 'found-again')";
    assert_eq!(rows(&farm.database(), taken_back), [["0"]]);
}
