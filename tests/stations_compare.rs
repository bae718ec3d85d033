//! Two stations side by side, and one that borrows the past years of the other.

use std::fs;

use serde_json::Value;

use crate::harness::{Farm, VISITS, printed, refused, table};

/// A farm with a second station whose days are warmer by 2 and 6 °F, and both fetched.
fn farm() -> Farm {
    farm_of(|_| {})
}

/// The same with what is changed before the first night.
fn farm_of(change: impl FnOnce(&Farm)) -> Farm {
    let farm = Farm::new("2022-04-30");
    let main = fs::read_to_string(farm.path("duskflight.toml")).unwrap();
    let (_, yard) = main.split_once("[[station]]\n").unwrap();
    let (yard, _) = yard.split_once("[[product]]").unwrap();
    let hill = yard
        .replace("\"yard\"", "\"hill\"")
        .replace("yard.csv", "hill.csv")
        .replace("Yard logger", "Hill");
    farm.change(
        "[[product]]\nid = \"meal\"",
        &format!("[[station]]\n{hill}\n[[product]]\nid = \"meal\""),
    );
    farm.write("hill.csv", &warmer(&table("2022-04-20"), "date,low,high"));
    farm.import("round.csv", VISITS);
    change(&farm);
    farm.nightly("2022-05-01");
    farm
}

fn warmer(table: &str, header: &str) -> String {
    let rows = table.lines().skip(1).map(|row| {
        let cells: Vec<&str> = row.split(',').collect();
        let degrees = |cell: &str| cell.parse::<i32>().unwrap();
        format!(
            "{},{},{}\n",
            cells[0],
            degrees(cells[1]) + 2,
            degrees(cells[2]) + 6
        )
    });
    std::iter::once(format!("{header}\n")).chain(rows).collect()
}

#[test]
fn two_stations_are_set_side_by_side_by_month_heat_and_mark() {
    let farm = farm();
    let said = printed(&[
        "stations",
        "compare",
        "yard",
        "hill",
        "--from",
        "2021-04-01",
        "--config",
        farm.config(),
    ]);
    insta::assert_snapshot!(said);
    // By itself it begins with the season, up to the newest day that both have.
    let said = printed(&[
        "stations",
        "compare",
        "yard",
        "hill",
        "--config",
        farm.config(),
    ]);
    assert!(
        said.contains("from 2022-01-01 to 2022-04-20, 110 days of 110 that both have"),
        "{said}"
    );
}

#[test]
fn a_loggers_file_stands_beside_a_station() {
    let farm = farm();
    let days = table("2022-04-25");
    let season = days.lines().filter(|row| row.starts_with("2022-04"));
    let logger: String = std::iter::once("date,low,high")
        .chain(season)
        .map(|row| format!("{row}\n"))
        .collect();
    farm.write("logger.csv", &warmer(&logger, "date,tmin_f,tmax_f"));
    let file = farm.path("logger.csv");
    let arguments = [
        "stations",
        "compare",
        "yard",
        "--file",
        file.to_str().unwrap(),
    ];
    let more = ["--from", "2022-04-01", "--config", farm.config()];
    let said = printed(&[&arguments[..], &more].concat());
    assert!(
        said.contains(" April       +2.0 °F   25     +6.0 °F   25 "),
        "{said}"
    );
    assert!(
        said.contains(" March       –         0      –         0 "),
        "{said}"
    );
    // 20 °F-days a day at the station, 24 in the logger: 500 and 600.
    assert!(
        said.contains("yard 500, logger 600 °F-days: logger is 100 ahead"),
        "{said}"
    );
    assert!(said.contains("logger 0.8 earlier"), "{said}");
    assert!(said.contains("not reached"), "{said}");
}

#[test]
fn what_cannot_be_compared_is_said() {
    let farm = farm();
    let compare = |arguments: &[&str]| {
        let command = ["stations", "compare", "--config", farm.config()];
        refused(2, &[&command, arguments].concat())
    };
    assert!(compare(&["yard", "hall"]).contains("hall: no such station; there are yard, hill"));
    assert!(
        compare(&["yard", "hill", "--from", "2022-04-25"])
            .contains("the newest day that both have is 2022-04-20")
    );
    assert!(compare(&["yard", "hill", "--insect", "mite"]).contains("there are navel-orangeworm"));
    assert!(compare(&["yard"]).contains("name another station or --file"));
    farm.write("logger.csv", "date,tmin_c,tmax_c\n1999-06-01,15,35\n");
    let file = farm.path("logger.csv");
    let strangers = compare(&["yard", "--file", file.to_str().unwrap()]);
    assert!(
        strangers.contains("yard and logger have no day in common"),
        "{strangers}"
    );
}

fn marks(farm: &Farm) -> Value {
    let arguments = [
        "season",
        "--as-of",
        "2022-05-01",
        "--format",
        "json",
        "--config",
    ];
    let text = printed(&[&arguments[..], &[farm.config()]].concat());
    let seasons: Value = serde_json::from_str(&text).unwrap();
    seasons[0]["marks"].clone()
}

/// A farm whose own record begins on a day and borrows what is before it.
fn short(first: &str) -> Farm {
    farm_of(|farm| {
        let whole = table("2022-04-30");
        let rows = whole
            .lines()
            .filter(|row| *row == "date,low,high" || *row >= first);
        let rows: String = rows.map(|row| format!("{row}\n")).collect();
        farm.write("yard.csv", &rows);
        farm.change("id = \"yard\"\n", "id = \"yard\"\npast_from = \"hill\"\n");
    })
}

#[test]
fn a_short_record_with_borrowed_past_years_is_projected_as_the_whole_one_would_be() {
    let (whole, short) = (farm(), short("2021-06-01"));
    let projected = marks(&whole);
    assert_eq!(projected[1]["status"], "projected");
    assert_eq!(marks(&short), projected);
    let line = "Yard logger: past years before Jun 1 2021 are those of Hill, moved by -2.0 (minima) and -6.0 °F (maxima)";
    assert!(
        short.digest("2022-05-01").contains(line),
        "{}",
        short.digest("2022-05-01")
    );
    assert!(!whole.digest("2022-05-01").contains("are those of"));
    let season = printed(&[
        "season",
        "--config",
        short.config(),
        "--as-of",
        "2022-05-01",
    ]);
    assert!(
        season.contains("past years before Jun 1 2021 are those of Hill"),
        "{season}"
    );
}

#[test]
fn past_years_are_not_borrowed_before_enough_days_are_in_both_records() {
    let short = short("2022-02-01");
    let line = "Yard logger: past years of Hill are not used yet: 79 days are in both records, and 90 are needed";
    assert!(
        short.digest("2022-05-01").contains(line),
        "{}",
        short.digest("2022-05-01")
    );
}

#[test]
fn past_years_come_from_another_station_that_has_its_own() {
    let farm = farm();
    let check = |of_yard: &str, of_hill: &str| {
        let past = |station: &str, of: &str| match of {
            "" => String::new(),
            of => format!("id = \"{station}\"\npast_from = \"{of}\"\n"),
        };
        let main = fs::read_to_string(farm.path("duskflight.toml")).unwrap();
        let mut changed = main.clone();
        for (station, of) in [("yard", of_yard), ("hill", of_hill)] {
            if !of.is_empty() {
                changed = changed.replace(&format!("id = \"{station}\"\n"), &past(station, of));
            }
        }
        farm.write("duskflight.toml", &changed);
        let said = refused(78, &["check", "--config", farm.config()]);
        farm.write("duskflight.toml", &main);
        said
    };
    assert!(check("yard", "").contains("a station cannot borrow from itself"));
    assert!(check("hil", "").contains("past_from: hil: no such station"));
    assert!(check("hill", "yard").contains("its past years are borrowed, too"));
}
