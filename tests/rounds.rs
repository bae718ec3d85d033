//! Round sheets and plans as people ask for them.

use serde_json::Value;

use crate::harness::{Farm, VISITS, printed, refused, rows};

/// Two routes and a trap without one; a name that would be markup.
const TRAPS: &str = "\
id,block,kind,hung,route,gate,row,tree,place,bait,lure
e1,home,egg,2022-03-15,west,1,18,4,,meal,
e2,home,egg,2022-03-15,west,1,6,12,<b>by the pump</b>,meal,
e3,home,egg,2022-03-15,west,1,6,9,,meal,
e4,home,egg,2022-03-15,10,2,1,1,,meal,
p1,home,pheromone,2022-03-15,,,,,,,lure
";

fn farm() -> Farm {
    let farm = Farm::new("2022-12-31");
    farm.write("traps.csv", TRAPS);
    farm.import("round.csv", VISITS);
    farm
}

fn round(farm: &Farm, more: &[&str]) -> String {
    let round = ["round", "--config", farm.config()];
    printed(&[&round[..], more].concat())
}

#[test]
fn the_sheets_of_a_day_list_each_route_in_walking_order() {
    let farm = farm();
    insta::assert_snapshot!("round", round(&farm, &["--as-of", "2022-04-22"]));
}

#[test]
fn a_sheet_filled_in_is_imported_and_its_blank_rows_are_passed_over() {
    let farm = farm();
    let sheet = round(
        &farm,
        &[
            "--as-of",
            "2022-04-22",
            "--format",
            "csv",
            "--route",
            "west",
        ],
    );
    let mut lines: Vec<String> = sheet.lines().map(str::to_owned).collect();
    assert_eq!(lines.len(), 4, "{sheet}");
    // The first stop is e3, at tree 9; e1 is left blank.
    let counted = |line: &str, trap: &str, count: &str| {
        let blank = format!("2022-04-22,{trap},,");
        assert!(line.starts_with(&blank), "{line}");
        line.replacen(&blank, &format!("2022-04-22,{trap},{count},"), 1)
    };
    lines[1] = counted(&lines[1], "e3", "7");
    lines[2] = counted(&lines[2], "e2", "0");
    let said = farm.import("west.csv", &lines.join("\n"));
    assert_eq!(
        said,
        "west.csv: 2 added, 0 changed, 0 there already, 1 left blank\n"
    );
    let eggs = "SELECT trap, eggs FROM visit WHERE day = '2022-04-22' ORDER BY trap";
    assert_eq!(rows(&farm.database(), eggs), [["e2", "0"], ["e3", "7"]]);
}

#[test]
fn a_page_to_print_stands_by_itself_and_names_are_not_markup() {
    let farm = farm();
    let page = round(&farm, &["--as-of", "2022-04-22", "--format", "html"]);
    assert!(page.contains("Home block</b>: check the posting"), "{page}");
    assert!(page.contains("&#60;b&#62;by the pump"), "{page}");
    for outside in ["http:", "https:", "src=", "<script", "<link", "url("] {
        assert!(!page.contains(outside), "{outside} in\n{page}");
    }
    assert_eq!(page.matches("<section lang=\"en\">").count(), 3);
}

#[test]
fn a_route_that_is_not_there_is_refused_with_those_that_are() {
    let farm = farm();
    let said = refused(
        2,
        &[
            "round",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-22",
            "--route",
            "north",
        ],
    );
    assert!(
        said.contains("route north: no such route; the routes are 10, west"),
        "{said}"
    );
}

#[test]
fn check_names_the_parts_that_nobody_will_be_reminded_of() {
    let farm = farm();
    let said = printed(&["check", "--config", farm.config(), "--as-of", "2022-04-22"]);
    let warning = "look at: block home: no liner is declared for traps p1";
    assert!(said.contains(warning), "{said}");
    assert!(!said.contains("no lure is declared"), "{said}");
}

#[test]
fn a_plan_gives_numbers_with_their_sources_or_says_that_it_cannot_tell() {
    let farm = farm();
    let plan = |farm: &Farm| -> Value {
        let day = "2022-04-22";
        let plan = [
            "plan",
            "--config",
            farm.config(),
            "--as-of",
            day,
            "--format",
            "json",
        ];
        serde_json::from_str(&printed(&plan)).unwrap()
    };
    let eggs = &plan(&farm)["blocks"][0]["traps"][0];
    assert_eq!(
        (&eggs["hang"], &eggs["wanted"][0]["traps"]),
        (&4.into(), &Value::Null)
    );
    let blocks = std::fs::read_to_string(farm.path("blocks.csv")).unwrap();
    farm.write(
        "blocks.csv",
        &blocks.replace("Nonpareil,,", "Nonpareil,,120"),
    );
    let eggs = &plan(&farm)["blocks"][0]["traps"][0];
    let wanted: Vec<&Value> = [0, 1].map(|n| &eggs["wanted"][n]["traps"]).into();
    assert_eq!(wanted, [&Value::from(12), &Value::from(6)]);
    assert_eq!(eggs["wanted"][0]["source"], "UC IPM almond guideline");
}

#[test]
fn a_plan_for_people_has_the_traps_and_the_year() {
    let farm = farm();
    let text = printed(&["plan", "--config", farm.config(), "--as-of", "2022-03-10"]);
    insta::assert_snapshot!("plan", text);
}

#[test]
fn a_closed_block_heads_the_sheet_and_its_traps_wait_everywhere() {
    let farm = farm();
    let note = [
        "notes",
        "add",
        "--config",
        farm.config(),
        "--date",
        "2022-04-21",
        "--block",
        "home",
    ];
    let posted = ["--kind", "no-entry-until", "--value", "2022-04-26"];
    printed(&[&note[..], &posted[..]].concat());
    let west = ["--as-of", "2022-04-22", "--route", "west"];
    let sheet = round(&farm, &west);
    let closed = "Home block: closed: no entry until Apr 26; waiting until then: e3, e2, e1";
    assert!(sheet.contains(closed), "{sheet}");
    assert!(sheet.contains("nothing is due"), "{sheet}");
    let csv = round(&farm, &[&west[..], &["--format", "csv"]].concat());
    assert_eq!(csv.lines().count(), 1, "{csv}");
    let day = ["--config", farm.config(), "--as-of", "2022-04-22"];
    let service = printed(&[&["service"], &day[..]].concat());
    assert!(service.contains("closed until 2022-04-26"), "{service}");
    assert!(service.contains("0 overdue, 0 due today"), "{service}");
    let season = printed(&[&["season"], &day[..]].concat());
    let waiting = "closed: no entry until Apr 26, as noted from the posting; 5 readings wait";
    assert!(season.contains(waiting), "{season}");
    // On the day it opens all of it is due, and late.
    let opened = round(&farm, &["--as-of", "2022-04-26", "--route", "west"]);
    assert!(opened.contains("Home block: check the posting"), "{opened}");
    assert!(opened.contains("reading due since Apr 22"), "{opened}");
}

#[test]
fn a_single_visit_that_says_nothing_is_refused_rather_than_passed_over() {
    let farm = farm();
    let visit = [
        "visits",
        "add",
        "--config",
        farm.config(),
        "--date",
        "2022-04-22",
        "--trap",
        "e1",
    ];
    let said = refused(2, &visit);
    assert!(said.contains("nothing was counted"), "{said}");
}
