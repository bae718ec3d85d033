//! Fetching: what a night asks for, what it keeps, and what a failure leaves alone.

use crate::harness::{Farm, VISITS, printed, refused, rows, table};

#[test]
fn temperatures_are_kept_as_received_with_their_unit_and_source() {
    let farm = Farm::new("2022-04-15");
    farm.nightly("2022-04-16");
    let stored = rows(
        &farm.database(),
        "SELECT tmin, tmax, unit, feed FROM station_day WHERE station = 'yard' AND day = '2022-04-15'",
    );
    assert_eq!(stored, [["65", "85", "f", "station-table"]]);
}

#[test]
fn a_failed_fetch_leaves_the_days_as_they_are_and_the_morning_is_told_all_the_same() {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-16");
    let days = "SELECT * FROM station_day ORDER BY day";
    let before = rows(&farm.database(), days);
    farm.write("yard.csv", "<html>maintenance</html>\n");
    let said = refused(
        75,
        &[
            "nightly",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-17",
        ],
    );
    assert!(said.contains("every station failed"), "{said}");
    assert_eq!(rows(&farm.database(), days), before);
    let digest = std::fs::read_to_string(farm.path("mail/2022-04-17-digest-ada.eml")).unwrap();
    assert!(
        digest
            .replace("=\r\n", "")
            .contains("the last fetch failed"),
        "{digest}"
    );
    let status = printed(&["status", "--config", farm.config()]);
    assert!(
        status.contains("station yard: last fetch failed"),
        "{status}"
    );
}

#[test]
fn a_revised_day_replaces_the_old_value_and_keeps_it_in_the_history() {
    let farm = Farm::new("2022-04-20");
    farm.nightly("2022-04-16");
    farm.write(
        "yard.csv",
        &table("2022-04-20").replace("2022-04-14,63,87", "2022-04-14,61,93"),
    );
    farm.nightly("2022-04-17");
    let history = "SELECT day, tmin, tmax FROM station_day_history";
    assert_eq!(
        rows(&farm.database(), history),
        [["2022-04-14", "63", "87"]]
    );
    let now = "SELECT tmin, tmax FROM station_day WHERE day = '2022-04-14'";
    assert_eq!(rows(&farm.database(), now), [["61", "93"]]);
}

#[test]
fn a_value_that_is_missing_in_a_later_answer_does_not_wipe_the_earlier_one() {
    let farm = Farm::new("2022-04-20");
    farm.nightly("2022-04-16");
    farm.write(
        "yard.csv",
        &table("2022-04-20").replace("2022-04-14,63,87", "2022-04-14,M,93"),
    );
    farm.nightly("2022-04-17");
    let now = "SELECT tmin, tmax FROM station_day WHERE day = '2022-04-14'";
    assert_eq!(rows(&farm.database(), now), [["63", "93"]]);
}

#[test]
fn days_of_the_day_of_telling_and_later_are_not_asked_for() {
    let farm = Farm::new("2022-04-30");
    farm.nightly("2022-04-16");
    let newest = "SELECT max(day), count(*) FROM station_day";
    assert_eq!(rows(&farm.database(), newest)[0][0], "2022-04-15");
}

/// The farm with a second station whose table is not there yet.
fn farm_with_two_stations() -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.change(
        "[[product]]\nid = \"meal\"",
        "[[station]]\nid = \"hill\"\nname = \"Hill logger\"\nhistory_years = 1\n\n[station.table]\n\
         source = \"hill.csv\"\ndate_column = \"date\"\nmin_column = \"low\"\n\
         max_column = \"high\"\nunit = \"f\"\n\n[[product]]\nid = \"meal\"",
    );
    farm
}

#[test]
fn one_station_that_fails_holds_up_no_other_and_is_tried_again_alone() {
    let farm = farm_with_two_stations();
    let said = farm.nightly("2022-04-16");
    assert!(said.contains("station hill failed"), "{said}");
    let job = "SELECT state, attempts FROM job_run WHERE job = 'fetch'";
    assert_eq!(rows(&farm.database(), job), [["failed", "1"]]);
    farm.write("hill.csv", &table("2022-04-30"));
    farm.nightly("2022-04-16");
    assert_eq!(rows(&farm.database(), job), [["done", "2"]]);
    let fetches = "SELECT station, outcome FROM fetch_log ORDER BY id";
    assert_eq!(
        rows(&farm.database(), fetches),
        [["yard", "ok"], ["hill", "failed"], ["hill", "ok"]]
    );
}

#[test]
fn a_feed_without_any_recent_day_has_failed() {
    let farm = Farm::new("2021-06-30");
    let said = refused(
        75,
        &[
            "nightly",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-16",
        ],
    );
    assert!(said.contains("every station failed"), "{said}");
    let status = printed(&["status", "--config", farm.config()]);
    assert!(
        status.contains("the feed's newest day is 2021-06-30"),
        "{status}"
    );
}

#[test]
fn a_renamed_column_is_named_on_the_first_morning_and_stands_in_the_subject_on_the_second_alone() {
    let farm = Farm::new("2022-04-30");
    farm.nightly("2022-04-16");
    farm.write(
        "yard.csv",
        &table("2022-04-30").replace("date,low,high", "date,low,top"),
    );
    let mut digests = Vec::new();
    for day in 17..=19 {
        let day = format!("2022-04-{day}");
        refused(75, &["nightly", "--config", farm.config(), "--as-of", &day]);
        let digest = farm.path(&format!("mail/{day}-digest-ada.eml"));
        digests.push(
            std::fs::read_to_string(digest)
                .unwrap()
                .replace("=\r\n", ""),
        );
    }
    let named = "the table has no column \"high\"; its columns are \"date\", \"low\", \"top\"";
    let leads = |digest: &String| {
        let subject = digest
            .lines()
            .find(|line| line.starts_with("Subject: "))
            .unwrap();
        subject.contains("gives no temperatures")
    };
    for digest in &digests {
        let words: Vec<&str> = digest.split_whitespace().collect();
        assert!(words.join(" ").contains(named), "{digest}");
    }
    let leading: Vec<bool> = digests.iter().map(leads).collect();
    assert_eq!(leading, [false, true, false], "{}", digests[1]);
}
