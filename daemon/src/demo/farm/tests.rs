//! The farm as its reader gets it: parsed from its files, with both start rules restated plainly.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use duskflight_core::orchard::Part;

use super::days::day_of;
use super::{Entry, InventedFarm, Kind, invent, station_record};

type Row = BTreeMap<String, String>;

const NEVER_CONFIRMS: &str = "R4";
const BORROWS: &str = "R3";
const SHEET_LATE: &str = "C1";
const BY_HAND: &str = "H2";

fn rows(text: &str) -> Vec<Row> {
    csv::Reader::from_reader(text.as_bytes())
        .deserialize()
        .collect::<Result<_, _>>()
        .unwrap()
}

fn date(row: &Row, column: &str) -> NaiveDate {
    row[column].parse().unwrap()
}

fn farm(year: i32) -> InventedFarm {
    invent(&station_record(), year)
}

fn rows_of<'a>(entries: impl Iterator<Item = &'a Entry>, kind: Kind) -> Vec<Row> {
    entries
        .filter(|entry| entry.kind == kind)
        .flat_map(|entry| rows(&entry.csv))
        .collect()
}

/// The season's visits entered by the evening of a day, in the order of their days.
fn visits_known(farm: &InventedFarm, by: NaiveDate) -> Vec<Row> {
    let entered = farm.entries.iter().filter(|entry| entry.entered_on <= by);
    let mut visits = rows_of(entered, Kind::Visits);
    visits.retain(|row| !row["trap"].contains('.'));
    visits.sort_by_key(|row| (date(row, "date"), row["trap"].clone()));
    visits
}

fn visits(farm: &InventedFarm) -> Vec<Row> {
    visits_known(farm, NaiveDate::MAX)
}

/// The traps of the season.
fn traps(farm: &InventedFarm) -> Vec<Row> {
    let mut traps = rows(&farm.traps_csv);
    traps.retain(|row| !row["id"].contains('.'));
    traps
}

/// One check of a block: its first day, and eggs and nights of each readable egg trap.
type Check = (NaiveDate, BTreeMap<String, (f64, f64)>);

/// The checks of a block, first readings after hanging left out.
fn checks(visits: &[Row], block: &str) -> Vec<Check> {
    let egg_traps = format!("{block}-E");
    let mut last: BTreeMap<&str, NaiveDate> = BTreeMap::new();
    let mut checks: Vec<Check> = Vec::new();
    for row in visits
        .iter()
        .filter(|row| row["trap"].starts_with(&egg_traps))
    {
        let day = date(row, "date");
        let Some(since) = last.insert(&row["trap"], day) else {
            continue;
        };
        if checks
            .last()
            .is_none_or(|(first, _)| (day - *first).num_days() > 1)
        {
            checks.push((day, BTreeMap::new()));
        }
        if let Ok(eggs) = row["eggs"].parse() {
            let nights = (day - since).num_days() as f64;
            checks
                .last_mut()
                .unwrap()
                .1
                .insert(row["trap"].clone(), (eggs, nights));
        }
    }
    checks
}

/// The published rule: three quarters of the readable traps rise on two checks running, and three
/// quarters of the traps can be read on both.
fn share_rising(checks: &[Check]) -> Option<NaiveDate> {
    let hung = checks.iter().map(|(_, traps)| traps.len()).max().unwrap();
    let rises = |before: &[Check], (_, now): &Check| {
        let risen = now.iter().filter(|(trap, (eggs, nights))| {
            let last = before.iter().rev().find_map(|(_, then)| then.get(*trap));
            last.is_some_and(|(eggs_then, nights_then)| {
                *eggs >= eggs_then / nights_then * nights + 1.0
            })
        });
        now.len() >= 3 && 4 * now.len() >= 3 * hung && 4 * risen.count() >= 3 * now.len()
    };
    let starts = |&at: &usize| {
        let apart = (checks[at + 1].0 - checks[at].0).num_days();
        let before = &checks[..at];
        (2..=8).contains(&apart) && rises(before, &checks[at]) && rises(before, &checks[at + 1])
    };
    (1..checks.len() - 1).find(starts).map(|at| checks[at].0)
}

/// The common practice: two clean checks, then eggs in two traps on two checks running. Checks with
/// fewer than three readable traps are passed over.
fn eggs_twice(checks: &[Check]) -> Option<NaiveDate> {
    let laid_on: Vec<(NaiveDate, usize)> = checks
        .iter()
        .filter(|(_, traps)| traps.len() >= 3)
        .map(|(day, traps)| (*day, traps.values().filter(|(eggs, _)| *eggs > 0.0).count()))
        .collect();
    let starts = |run: &&[(NaiveDate, usize)]| matches!(run, [(_, 0), (_, 0), (_, third), (_, fourth)] if *third >= 2 && *fourth >= 2);
    laid_on.windows(4).find(starts).map(|run| run[2].0)
}

/// Each block with egg traps of its own, and its start by its own rule and by the other.
fn starts(farm: &InventedFarm) -> BTreeMap<String, [Option<NaiveDate>; 2]> {
    let visits = visits(farm);
    let own_group = |block: &Row| block["start_group"].is_empty();
    rows(&farm.blocks_csv)
        .into_iter()
        .filter(own_group)
        .map(|block| {
            let checks = checks(&visits, &block["id"]);
            let mut both = [share_rising(&checks), eggs_twice(&checks)];
            if block["start_rule"] == "eggs-twice" {
                both.reverse();
            }
            (block["id"].clone(), both)
        })
        .collect()
}

#[test]
fn the_same_year_gives_the_same_farm() {
    assert_eq!(farm(2022), farm(2022));
    assert_ne!(farm(2022).entries, farm(2021).entries);
}

#[test]
fn starts_confirm_over_weeks_and_one_block_never_does() {
    for year in 2019..=2022 {
        let starts = starts(&farm(year));
        let never: Vec<_> = starts
            .iter()
            .filter(|(id, both)| **both == [None, None] && *id != BY_HAND)
            .map(|(id, _)| id)
            .collect();
        assert_eq!(never, [NEVER_CONFIRMS], "{year}");
        let spring: BTreeSet<NaiveDate> = starts
            .values()
            .filter_map(|[own, _]| own.filter(|&start| start < day_of(year, (6, 1))))
            .collect();
        let confirmed = starts
            .values()
            .filter(|[own, _]| own.is_some_and(|start| start < day_of(year, (6, 1))));
        assert!(confirmed.count() >= 8, "{year}: {starts:?}");
        let spread = *spring.last().unwrap() - *spring.first().unwrap();
        assert!(spread.num_days() >= 10, "{year}: {spring:?}");
    }
}

#[test]
fn the_first_readings_and_two_checks_are_clean() {
    for year in 2003..=2022 {
        let farm = farm(year);
        let visits = visits(&farm);
        let mut readings: BTreeMap<&str, u32> = BTreeMap::new();
        for row in visits
            .iter()
            .filter(|row| date(row, "date") < day_of(year, (4, 30)))
        {
            let so_far = readings.entry(&row["trap"]).or_default();
            *so_far += 1;
            if *so_far <= 3 && row["trap"].contains("-E") {
                let block = &row["trap"][..2];
                let clean = row["eggs"] == "0" || block == NEVER_CONFIRMS;
                assert!(clean || row["readable"] == "no", "{year}: {row:?}");
            }
        }
    }
}

#[test]
fn a_late_sheet_moves_a_start_one_check_earlier() {
    for year in 2003..=2022 {
        let farm = farm(year);
        let late = farm
            .entries
            .iter()
            .find(|entry| entry.via_file.ends_with(&format!("-{SHEET_LATE}.csv")))
            .unwrap();
        let start_known = |by| share_rising(&checks(&visits_known(&farm, by), SHEET_LATE));
        let told = start_known(late.entered_on - Days::new(1)).unwrap();
        let corrected = start_known(late.entered_on).unwrap();
        let moved = (told - corrected).num_days();
        assert!((3..=4).contains(&moved), "{year}: {told} then {corrected}");
        assert_eq!(late.entered_on - corrected, chrono::TimeDelta::days(10));
    }
}

#[test]
fn most_egg_readings_are_zero_and_few_hold_most_eggs() {
    for year in 2019..=2022 {
        let mut eggs: Vec<u32> = visits(&farm(year))
            .iter()
            .filter_map(|row| row["eggs"].parse().ok())
            .collect();
        let zeros = eggs.iter().filter(|&&eggs| eggs == 0).count();
        assert!(2 * zeros > eggs.len(), "{year}: {zeros} of {}", eggs.len());
        eggs.sort_unstable_by(|a, b| b.cmp(a));
        let top_tenth: u32 = eggs[..eggs.len() / 10].iter().sum();
        assert!(2 * top_tenth > eggs.iter().sum(), "{year}");
    }
}

#[test]
fn disruption_empties_the_sentinels_but_not_the_combined_traps() {
    let farm = farm(2022);
    let regimes: BTreeMap<String, String> = rows(&farm.blocks_csv)
        .into_iter()
        .map(|row| (row["id"].clone(), row["regime"].clone()))
        .collect();
    let visits = visits(&farm);
    let mean = |regime: &str, kind: &str, columns: &[&str]| {
        let of_kind = |row: &&Row| row["trap"][2..].starts_with(kind) && row["readable"] != "no";
        let catches: Vec<f64> = visits
            .iter()
            .filter(of_kind)
            .filter(|row| regimes[&row["trap"][..2]] == regime)
            .map(|row| {
                columns
                    .iter()
                    .filter_map(|c| row[*c].parse::<f64>().ok())
                    .sum()
            })
            .collect();
        catches.iter().sum::<f64>() / catches.len() as f64
    };
    let open = mean("conventional", "-P", &["males"]);
    let sentinel = mean("mating-disruption", "-P", &["males"]);
    let combined = mean("mating-disruption", "-C", &["moths", "males", "females"]);
    assert!(sentinel < 0.05 * open, "{sentinel} of {open}");
    assert!(combined > 10.0 * sentinel, "{combined} beside {sentinel}");
}

#[test]
fn about_ninety_traps_of_twelve_blocks_and_every_id_exists() {
    let farm = farm(2022);
    let blocks = rows(&farm.blocks_csv);
    let traps = traps(&farm);
    let ids = |rows: &[Row]| -> BTreeSet<String> { rows.iter().map(|r| r["id"].clone()).collect() };
    let (block_ids, trap_ids) = (ids(&blocks), ids(&traps));
    let people: BTreeSet<&str> = farm.people.iter().map(|person| person.id).collect();
    assert_eq!((blocks.len(), block_ids.len()), (12, 12));
    assert!((85..=97).contains(&traps.len()) && trap_ids.len() == traps.len());
    for block in &blocks {
        assert!(people.contains(&*block["grower"]) && people.contains(&*block["adviser"]));
        assert!(block["start_group"].is_empty() || block_ids.contains(&block["start_group"]));
    }
    for trap in &traps {
        assert!(
            block_ids.contains(&trap["block"]) && trap["block"] != BORROWS || trap["kind"] != "egg"
        );
        for part in [Part::Lure, Part::Ppo, Part::Bait, Part::Liner] {
            let id = &trap[part.name()];
            let known = farm.products.iter().any(|p| p.id == id && p.kind == part);
            assert!(id.is_empty() || known, "{trap:?}");
        }
    }
    let notes = rows_of(farm.entries.iter(), Kind::Notes);
    for note in &notes {
        let block = blocks
            .iter()
            .find(|block| block["id"] == note["block"])
            .unwrap();
        assert!(note["variety"].is_empty() || block["varieties"].contains(&note["variety"]));
    }
    assert!(
        visits(&farm)
            .iter()
            .all(|visit| trap_ids.contains(&visit["trap"]))
    );
}

#[test]
fn every_visit_is_the_only_one_of_its_day_and_falls_while_its_trap_hangs() {
    for year in 2003..=2022 {
        let farm = farm(year);
        let traps: BTreeMap<String, Row> = traps(&farm)
            .into_iter()
            .map(|row| (row["id"].clone(), row))
            .collect();
        let mut seen = BTreeSet::new();
        for visit in visits(&farm) {
            let (trap, day) = (&traps[&visit["trap"]], date(&visit, "date"));
            assert!(
                (date(trap, "hung")..=date(trap, "removed")).contains(&day),
                "{visit:?}"
            );
            let down = !trap["pulled"].is_empty()
                && day > date(trap, "pulled")
                && day <= date(trap, "back");
            assert!(!down, "{visit:?}");
            assert!(seen.insert((visit["trap"].clone(), day)), "{visit:?}");
        }
    }
}

#[test]
fn sheets_come_in_order_and_some_come_late() {
    let farm = farm(2022);
    assert!(farm.entries.is_sorted_by_key(|entry| entry.entered_on));
    let files: BTreeSet<&str> = farm.entries.iter().map(|entry| &*entry.via_file).collect();
    assert_eq!(files.len(), farm.entries.len());
    let mut late = 0;
    for entry in farm.entries.iter().filter(|entry| {
        entry.kind == Kind::Visits && entry.via_file.len() > "visits-2021.csv".len()
    }) {
        let delays: BTreeSet<i64> = rows(&entry.csv)
            .iter()
            .map(|row| (entry.entered_on - date(row, "date")).num_days())
            .collect();
        assert!(
            delays.len() == 1 && delays.is_subset(&(0..=10).collect()),
            "{delays:?}"
        );
        late += usize::from(delays.first() > Some(&0));
    }
    assert!((4..=20).contains(&late), "{late}");
}

/// The longest time, in days, that a part of a trap went without service.
fn longest_unserviced(visits: &[Row], trap: &Row, part: Part) -> i64 {
    let of_trap = visits.iter().filter(|row| row["trap"] == trap["id"]);
    let serviced = of_trap.filter(|row| row["serviced"].split(' ').any(|p| p == part.name()));
    let mut days = vec![date(trap, "hung")];
    days.extend(serviced.map(|row| date(row, "date")));
    days.push(date(trap, "removed"));
    days.windows(2)
        .map(|pair| (pair[1] - pair[0]).num_days())
        .max()
        .unwrap()
}

#[test]
fn two_lures_and_a_ppo_are_left_weeks_overdue_and_nothing_else() {
    let farm = farm(2022);
    let visits = visits(&farm);
    let mut overdue = Vec::new();
    for trap in traps(&farm) {
        for product in farm.products.iter().filter(|p| trap[p.kind.name()] == p.id) {
            let longest = longest_unserviced(&visits, &trap, product.kind);
            if longest > i64::from(product.life_days) + 10 {
                overdue.push((trap["id"].clone(), product.kind));
            }
        }
    }
    let expected = [
        ("N1-P2", Part::Lure),
        ("C2-C1", Part::Ppo),
        ("C3-P1", Part::Lure),
    ];
    assert_eq!(
        overdue,
        expected.map(|(trap, part)| (trap.to_owned(), part))
    );
}

#[test]
fn traps_get_wet_and_lost_and_a_start_is_set_by_hand() {
    let farm = farm(2022);
    let noted = |word: &str| {
        visits(&farm)
            .iter()
            .filter(|row| row["note"].contains(word))
            .count()
    };
    assert!(noted("bait wet") >= 5 && noted("trap gone") == 3);
    let notes = rows_of(farm.entries.iter(), Kind::Notes);
    let by_hand: Vec<_> = notes
        .iter()
        .filter(|row| row["kind"] == "egg-laying-start")
        .collect();
    assert_eq!(by_hand.len(), 1);
    assert!(by_hand[0]["block"] == BY_HAND && !by_hand[0]["note"].is_empty());
    let of_kind = |kind: &str| notes.iter().filter(|row| row["kind"] == kind).count();
    assert_eq!(
        (of_kind("hull-split-expected"), of_kind("hull-split")),
        (12, 27)
    );
}

#[test]
fn nobody_can_be_reached() {
    for person in farm(2022).people {
        assert!(person.email.ends_with(".example"), "{}", person.email);
        let number = person.phone.split_once("-555-01").unwrap().1;
        assert!(
            number.len() == 2 && number.parse::<u8>().is_ok(),
            "{}",
            person.phone
        );
    }
}
