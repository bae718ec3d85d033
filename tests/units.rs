//! Numbers that are written in another unit than the feed is declared to have: named, and nobody is told a date from
//! them.

use crate::harness::{Farm, VISITS, run, table};

/// A unit as the configuration names it, and as people do.
const UNITS: [(&str, &str); 3] = [("f", "°F"), ("c", "°C"), ("c-tenths", "tenths of °C")];

/// The station's table up to a day, its numbers in a unit.
fn table_in(unit: &str, up_to: &str) -> String {
    let number = |cell: &str| {
        let fahrenheit: f64 = cell.parse().unwrap();
        let celsius = (fahrenheit - 32.0) / 1.8;
        match unit {
            "f" => cell.to_owned(),
            "c" => format!("{celsius:.1}"),
            _ => format!("{:.0}", celsius * 10.0),
        }
    };
    let table = table(up_to);
    let (header, rows) = table.split_once('\n').unwrap();
    let row = |row: &str| {
        let cells: Vec<&str> = row.split(',').collect();
        format!("{},{},{}\n", cells[0], number(cells[1]), number(cells[2]))
    };
    format!("{header}\n{}", rows.lines().map(row).collect::<String>())
}

/// Every pairing of what is declared and what is true.
fn pairings() -> impl Iterator<Item = (&'static str, &'static str, &'static str)> {
    let declared = UNITS.map(|(unit, _)| unit);
    let pairs = declared
        .into_iter()
        .flat_map(|declared| UNITS.map(|(unit, words)| (declared, unit, words)));
    pairs.filter(|(declared, written, _)| declared != written)
}

/// A farm whose station is declared in one unit and written in another, up to 15 April; where it stands is declared.
fn farm_of(declared: &str, written: &str) -> Farm {
    let farm = Farm::new("2022-04-15");
    farm.change(
        "history_years = 12",
        "history_years = 12\nlatitude = 36.8\nlongitude = -120.0",
    );
    farm.change(
        "max_column = \"high\"\nunit = \"f\"",
        &format!("max_column = \"high\"\nunit = \"{declared}\""),
    );
    farm.write("yard.csv", &table_in(written, "2022-04-15"));
    farm.import("round.csv", VISITS);
    farm
}

fn growers_mails(farm: &Farm) -> usize {
    farm.mails()
        .iter()
        .filter(|name| name.contains("gil"))
        .count()
}

#[test]
fn another_unit_is_named_when_the_station_is_tried_out() {
    for (declared, written, words) in pairings() {
        let farm = farm_of(declared, written);
        let check = [
            "check",
            "--online",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-16",
        ];
        let tried = run(&check);
        assert_eq!(tried.status.code(), Some(75), "{declared}, {written}");
        let said = String::from_utf8_lossy(&tried.stdout);
        assert!(
            said.contains(&format!("what looks like {words}")),
            "{declared}, {written}: {said}"
        );
    }
}

#[test]
fn another_unit_is_named_on_the_first_night_and_nobody_is_told_a_date() {
    for (declared, written, words) in pairings() {
        let farm = farm_of(declared, written);
        farm.nightly_fails("2022-04-16");
        let said = farm.digest("2022-04-16");
        assert!(
            said.contains("once the unit that is declared is the one"),
            "{said}"
        );
        assert!(
            said.contains(&format!("what looks like {words}")),
            "{declared}, {written}: {said}"
        );
        assert_eq!(growers_mails(&farm), 0, "{declared}, {written}");
    }
}

#[test]
fn another_unit_from_a_day_on_is_named_and_nobody_is_told_a_date_from_it() {
    for (declared, written, words) in pairings() {
        let undisturbed = farm_of(declared, declared);
        let farm = farm_of(declared, declared);
        farm.nightly("2022-04-16");
        undisturbed.nightly("2022-04-16");
        farm.write("yard.csv", &table_in(written, "2022-04-16"));
        for day in ["2022-04-17", "2022-04-18"] {
            for farm in [&farm, &undisturbed] {
                let _ = run(&["nightly", "--config", farm.config(), "--as-of", day]);
            }
            let said = farm.digest(day);
            assert!(
                said.contains(&format!("what looks like {words}")),
                "{declared}, {written}: {said}"
            );
        }
        let (told, at_most) = (growers_mails(&farm), growers_mails(&undisturbed));
        assert!(told <= at_most, "{declared}, {written}: {told}");
    }
}
