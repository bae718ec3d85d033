//! Chains of commands ended at every point of their work, and killed at random: an upgrade's first night (readings
//! brought in, schema changed, fetched, told, delivered, pruned, copied), and a copy put back. Taken up again each ends
//! as if nothing had happened, and a copy that has its name is whole.

use std::collections::BTreeMap;
use std::fs;

use crate::chain::{Chain, names_in};
use crate::dropped::watching;
use crate::harness::{Farm, VISITS, rows};
use crate::kept::as_it_lies;

const MORNING: &str = "2022-04-16";
/// Beside the hundred of a morning with a real mail server.
const KILLS: usize = 100;

/// Takes back what the steps of the schema from the eighth on brought.
const TO_SCHEMA_7: &str = "
    DROP TABLE page_password; DROP TABLE page_code; DROP TABLE page_session; DROP TABLE page_form;
    DROP TABLE mark_key; DROP TABLE answer; DROP TABLE inbox_place; DROP TABLE message_left;
    DROP TABLE feed_version;
    DROP INDEX station_day_by_receipt; DROP INDEX visit_by_entry; DROP INDEX visit_history_by_change;
    CREATE TABLE of_step_7 (insect TEXT NOT NULL, start_group TEXT NOT NULL, season INTEGER NOT NULL,
      kept TEXT NOT NULL CHECK (json_valid(kept)), PRIMARY KEY (insect, start_group)) STRICT, WITHOUT ROWID;
    INSERT OR REPLACE INTO of_step_7 SELECT insect, start_group, season, kept FROM kept_start ORDER BY season;
    DROP TABLE kept_start; ALTER TABLE of_step_7 RENAME TO kept_start;
    PRAGMA user_version = 7;";

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
    farm.database().execute_batch(TO_SCHEMA_7).unwrap();
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
    let more = (all - free) / 10 + 260 - free;
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
        copies.contains(&"duskflight-schema-7.sqlite".to_owned()),
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
        let how = chain.end_at(0, at, name);
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

#[test]
fn a_dropped_sheet_that_was_stored_and_not_put_away_is_put_away_and_counts_once() {
    let farm = watching("2022-04-30");
    farm.write("drop/round.csv", VISITS);
    let chain = Chain::new(farm, &[&["nightly", "--as-of", MORNING]]);
    let name = "before a sheet is put away";
    let at = chain.points[0].iter().position(|point| point == name);
    let how = chain.end_at(0, at.unwrap() + 1, name);
    let visits = "SELECT count(*) FROM visit";
    let (_dir, database) = as_it_lies(&chain.database());
    assert_eq!(rows(&database, visits), [["20"]]);
    assert!(chain.farm.path("drop/round.csv").exists());
    chain.finished_from(0, &how);
    assert!(!chain.farm.path("drop/round.csv").exists());
}

fn table(chain: &str, by_name: &BTreeMap<&str, usize>) -> String {
    let row = |(name, crashes): (&&str, &usize)| format!("\n  {name:<38} {crashes:>7}");
    let rows: String = by_name.iter().map(row).collect();
    let all: usize = by_name.values().sum();
    format!("\n{chain:<40} crashes{rows}{}", row((&"in all", &all)))
}
