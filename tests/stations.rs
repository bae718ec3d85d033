//! Fetching: what a night asks for, what it keeps, and what a failure leaves alone.

use crate::harness::{Farm, VISITS, printed, refused, rows, run, table};

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
    let said = farm.nightly_fails("2022-04-17");
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
    let said = farm.nightly_fails("2022-04-16");
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

/// The station's table with its last sixty days as a logger gives them that has gone wrong.
fn wrong_table(up_to: &str, wrong: fn(f64, f64) -> (f64, f64)) -> String {
    let right = table(up_to);
    let rows: Vec<&str> = right.lines().collect();
    let (before, last) = rows.split_at(rows.len() - 60);
    let wrong = last.iter().map(|row| {
        let cells: Vec<&str> = row.split(',').collect();
        let (low, high) = wrong(cells[1].parse().unwrap(), cells[2].parse().unwrap());
        format!("{},{low:.1},{high:.1}\n", cells[0])
    });
    let before = before.iter().map(|row| format!("{row}\n"));
    before.chain(wrong).collect()
}

fn in_celsius(low: f64, high: f64) -> (f64, f64) {
    ((low - 32.0) / 1.8, (high - 32.0) / 1.8)
}

fn swapped(low: f64, high: f64) -> (f64, f64) {
    (high, low)
}

/// The mails of a farm's growers, once nights from 16 to 24 April are worked; on some of them its station
/// answers nonsense.
fn growers_mails(
    wrong: fn(f64, f64) -> (f64, f64),
    nights: std::ops::RangeInclusive<u32>,
) -> Vec<String> {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    for night in 16..=24 {
        let day = format!("2022-04-{night}");
        let yesterday = format!("2022-04-{}", night - 1);
        match nights.contains(&night) {
            true => farm.write("yard.csv", &wrong_table(&yesterday, wrong)),
            false => farm.write("yard.csv", &table(&yesterday)),
        }
        let _ = run(&["nightly", "--config", farm.config(), "--as-of", &day]);
    }
    let mails = farm.mails().into_iter();
    let of_growers = mails.filter(|name| name.contains("gil"));
    of_growers
        .map(|name| std::fs::read_to_string(farm.path("mail").join(name)).unwrap())
        .collect()
}

#[test]
fn nonsense_over_the_days_read_again_tells_growers_nothing() {
    let undisturbed = growers_mails(swapped, 0..=0).len();
    assert!(undisturbed > 0);
    for (what, wrong) in [
        ("°C under °F", in_celsius as fn(f64, f64) -> _),
        ("swapped", swapped),
    ] {
        let mails = growers_mails(wrong, 19..=20);
        assert_eq!(mails.len(), undisturbed, "{what}");
    }
}

/// The farm of 16 April, and what its station's days are, told once more with nonsense on the 17th.
fn farm_with_an_answer_aside() -> (Farm, Vec<Vec<String>>) {
    let farm = Farm::new("2022-04-15");
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-16");
    let before = rows(&farm.database(), DAYS);
    farm.write("yard.csv", &wrong_table("2022-04-16", in_celsius));
    let nightly = [
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-17",
    ];
    assert!(refused(75, &nightly).contains("every station failed"));
    (farm, before)
}

const DAYS: &str = "SELECT * FROM station_day ORDER BY day";
const ASIDE: &str = "SELECT oddity, since, at, json_array_length(days) > 60 FROM answer_aside";

#[test]
fn an_answer_in_another_unit_is_kept_aside_shown_and_asked_about_once() {
    let (farm, before) = farm_with_an_answer_aside();
    assert_eq!(rows(&farm.database(), DAYS), before);
    let digest = farm.digest("2022-04-17");
    let odd = "answered what looks like °C: 59 of 59 days differ, by 4";
    assert!(digest.contains(odd), "{digest}");
    assert!(digest.contains("`duskflight feed accept yard`"), "{digest}");
    let status = printed(&["status", "--config", farm.config()]);
    assert!(
        status.contains("kept aside; see `duskflight feed aside`"),
        "{status}"
    );
    let list = printed(&["feed", "aside", "--config", farm.config()]);
    assert!(list.contains("1 answer kept aside"), "{list}");
    // The same the night after is the same question.
    let first = rows(&farm.database(), ASIDE);
    farm.write("yard.csv", &wrong_table("2022-04-17", in_celsius));
    let _ = run(&[
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-18",
    ]);
    let second = rows(&farm.database(), ASIDE);
    assert_eq!(second.len(), 1);
    assert_eq!(second[0][..2], first[0][..2], "since the first");
    assert_ne!(second[0][2], first[0][2]);
    // When the feed is well again, the question is gone and every day is there.
    farm.write("yard.csv", &table("2022-04-18"));
    farm.nightly("2022-04-19");
    assert_eq!(rows(&farm.database(), ASIDE), Vec::<Vec<String>>::new());
    let newest = "SELECT max(day), min(tmin) FROM station_day WHERE day > '2022-04-01'";
    assert_eq!(rows(&farm.database(), newest), [["2022-04-18", "63"]]);
    let history = "SELECT count(*) FROM station_day_history";
    assert_eq!(rows(&farm.database(), history), [["0"]]);
}

#[test]
fn an_answer_that_is_accepted_is_stored_and_later_ones_are_judged_by_it() {
    let (farm, before) = farm_with_an_answer_aside();
    let said = printed(&["feed", "accept", "yard", "--config", farm.config()]);
    assert!(said.contains("60 new or different"), "{said}");
    assert_ne!(rows(&farm.database(), DAYS), before);
    assert_eq!(rows(&farm.database(), ASIDE), Vec::<Vec<String>>::new());
    let again = refused(2, &["feed", "accept", "yard", "--config", farm.config()]);
    assert!(again.contains("yard: nothing is kept aside"), "{again}");
    farm.write("yard.csv", &wrong_table("2022-04-17", in_celsius));
    farm.nightly("2022-04-18");
    let newest = "SELECT tmax < 40 FROM station_day WHERE day = '2022-04-17'";
    assert_eq!(rows(&farm.database(), newest), [["1"]]);
}

#[test]
fn an_answer_that_is_dropped_is_not_asked_about_again_while_it_is_odd_in_the_same_way() {
    let (farm, before) = farm_with_an_answer_aside();
    let said = printed(&["feed", "drop", "yard", "--config", farm.config()]);
    assert!(said.contains("1 answer thrown away"), "{said}");
    farm.write("yard.csv", &wrong_table("2022-04-17", in_celsius));
    let _ = run(&[
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-18",
    ]);
    assert_eq!(rows(&farm.database(), DAYS), before);
    let digest = farm.digest("2022-04-18");
    assert!(
        digest.contains("the last fetch failed: answered what looks like °C"),
        "{digest}"
    );
    assert!(!digest.contains("feed accept"), "{digest}");
    farm.write("yard.csv", &wrong_table("2022-04-18", swapped));
    let _ = run(&[
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-19",
    ]);
    let list = printed(&["feed", "aside", "--config", farm.config()]);
    assert!(
        list.contains("swapped, it seems"),
        "another question: {list}"
    );
    let unknown = refused(2, &["feed", "drop", "yord", "--config", farm.config()]);
    assert!(
        unknown.contains("yord: no such station; there are yard"),
        "{unknown}"
    );
}
