//! The season to look back on: it adds up with what other commands say, and shows nobody what is not theirs.

use std::fs;
use std::path::Path;

use chrono::NaiveDate;
use rusqlite::Connection;
use serde_json::Value;
use tempfile::TempDir;

use crate::harness::{Farm, VISITS, played_demo, printed, refused, rows};

/// The demo's season is over by then.
const END: &str = "2022-12-31";

fn demo() -> &'static str {
    played_demo().to_str().unwrap()
}

/// The page of one grower of a farm.
fn page(config: &str, grower: &str) -> String {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().to_str().unwrap();
    let arguments = ["report", "--config", config, "--grower", grower];
    printed(
        &[
            &arguments[..],
            &["--year", "2022", "--as-of", END, "--out", out],
        ]
        .concat(),
    );
    fs::read_to_string(dir.path().join(format!("{grower}-2022.html"))).unwrap()
}

/// A block's part of a page.
fn block_of<'a>(page: &'a str, id: &str) -> &'a str {
    let mut blocks = page.split("<section class=\"block\">").skip(1);
    let heading = format!(" ({id}), 2022</h2>");
    blocks.find(|block| block.contains(&heading)).unwrap()
}

/// The cells of the row that begins with some words.
fn cells<'a>(part: &'a str, first: &str) -> Vec<&'a str> {
    let (_, row) = part
        .split_once(&format!("<th scope=\"row\">{first}</th>"))
        .unwrap();
    let row = row.split_once("</tr>").unwrap().0;
    let cells = row.split("</td>").filter(|cell| cell.contains("<td"));
    cells.map(|cell| cell.rsplit_once('>').unwrap().1).collect()
}

fn season(block: &str, day: &str) -> Value {
    let arguments = ["season", "--config", demo(), "--as-of", day];
    let text = printed(&[&arguments[..], &["--block", block, "--format", "json"]].concat());
    let seasons: Value = serde_json::from_str(&text).unwrap();
    seasons[0].clone()
}

/// A day as reports print it.
fn printed_day(day: &Value) -> String {
    let day: NaiveDate = day.as_str().unwrap().parse().unwrap();
    day.format("%b %-d").to_string()
}

fn day_of(words: &str) -> NaiveDate {
    NaiveDate::parse_from_str(&format!("{words} 2022"), "%b %d %Y").unwrap()
}

#[test]
fn starts_and_marks_are_those_that_season_gives() {
    let page = page(demo(), "delmar");
    for id in ["N1", "N2", "N3"] {
        let (season, block) = (season(id, END), block_of(&page, id));
        let start = printed_day(&season["egg_laying_start"]["date"]);
        assert!(block.contains(&format!("<p class=\"answer\">confirmed {start}")));
        for mark in season["marks"].as_array().unwrap() {
            let cells = cells(block, mark["name"].as_str().unwrap());
            assert_eq!(cells[0], printed_day(&mark["date"]));
            let eggs = &mark["eggs_seen"];
            let from = eggs["from"].as_str().map(|_| printed_day(&eggs["from"]));
            assert!(cells[3].starts_with(&from.unwrap_or_default()), "{cells:?}");
        }
        // The flight that lays the second generation's eggs, with the difference in days.
        let mut seen = season["flights"]["seen"].as_array().unwrap().iter();
        let second = seen.find(|flight| flight["number"] == 2);
        let laying = cells(block, "second-generation egg laying");
        match second.map(|flight| &flight["start"]["in"]) {
            Some(round) => {
                let by: NaiveDate = round["by"].as_str().unwrap().parse().unwrap();
                let off = (by - day_of(laying[0])).num_days();
                assert!(laying[2].starts_with(&off.abs().to_string()), "{laying:?}");
                assert!(laying[2].ends_with(if off < 0 { "before" } else { "after" }));
            }
            None => assert_eq!(laying[1..3], ["not seen", ""]),
        }
    }
}

#[test]
fn sums_of_heat_and_catches_are_those_of_the_records() {
    let page = page(demo(), "delmar");
    let block = block_of(&page, "N1");
    let sum = printed(&[
        "explain",
        "--config",
        demo(),
        "--block",
        "N1",
        "--as-of",
        END,
        "--format",
        "csv",
    ]);
    let total = sum.lines().last().unwrap().split(',').nth(8).unwrap();
    let total: f64 = total.parse().unwrap();
    assert!(block.contains(&format!("this season: {total:.0} on ")));
    let database = Connection::open(played_demo().join("duskflight.sqlite")).unwrap();
    let text = printed(&[
        "season",
        "--config",
        demo(),
        "--as-of",
        END,
        "--block",
        "N1",
    ]);
    for (title, column, kind) in [
        ("pheromone traps, males", "males", "P"),
        ("bait bag traps, females", "females", "B"),
    ] {
        let sql = format!(
            "SELECT sum({column}) FROM visit WHERE trap GLOB 'N1-{kind}*' AND day GLOB '2022-*'"
        );
        let caught = &rows(&database, &sql)[0][0];
        let cell = cells(block, title)[0];
        assert!(cell.contains(&format!("({caught} in ")), "{cell}");
        let (rate, nights) = cell.split_once(" (").unwrap();
        let nights = nights.trim_end_matches(')');
        assert!(
            text.contains(&format!("2022 {rate} ({nights} trap-nights)")),
            "{cell}"
        );
    }
}

#[test]
fn readings_made_are_those_of_the_records_and_late_ones_were_overdue() {
    let page = page(demo(), "delmar");
    let database = Connection::open(played_demo().join("duskflight.sqlite")).unwrap();
    let mut due = 0;
    for id in ["N1", "N2", "N3"] {
        let block = block_of(&page, id);
        let sql = format!(
            "SELECT count(*) FROM visit WHERE trap GLOB '{id}-*' AND day BETWEEN '2022-03-01' AND '2022-10-31'
             AND (coalesce(eggs, moths, males, females) IS NOT NULL OR readable = 0)"
        );
        let made = &rows(&database, &sql)[0][0];
        assert!(
            block.contains(&format!(">{made} readings in all, ")),
            "{id} {made}"
        );
        let listed = printed(&[
            "visits",
            "list",
            "--config",
            demo(),
            "--block",
            id,
            "--as-of",
            END,
            "--from",
            "2022-03-01",
            "--to",
            "2022-10-31",
        ]);
        let of_list = listed.trim_end().lines().last().unwrap();
        assert!(of_list.starts_with(&format!("{made} visits ")), "{of_list}");
        let row: Vec<u32> = cells(block, "traps read")
            .iter()
            .map(|n| n.parse().unwrap())
            .collect();
        assert_eq!(row[0], row[1] + row[2] + row[3]);
        due += row[0];
        for round in late_rounds(block) {
            let [count, due, read] = round;
            let morning = day_of(&read).pred_opt().unwrap().to_string();
            let season = season(id, &morning);
            let readings = season["readings"].as_array().unwrap().iter();
            let overdue = readings.filter(|reading| printed_day(&reading["due"]) == due);
            assert_eq!(overdue.count().to_string(), count, "{id} due {due}");
        }
    }
    // The cover adds the blocks up.
    assert_eq!(cells(&page, "traps read")[0], due.to_string());
}

/// Count, due day and day of the reading of each late round.
fn late_rounds(block: &str) -> Vec<[String; 3]> {
    let line = block.split("read late: ").nth(1);
    let rounds = line.map_or("", |line| line.split_once(".</p>").unwrap().0);
    let rounds = rounds.split("; ").filter(|round| !round.is_empty());
    rounds
        .map(|round| {
            let (traps, rest) = round.split_once(" due ").unwrap();
            let (due, rest) = rest.split_once(", read ").unwrap();
            let (read, _) = rest.split_once(", ").unwrap();
            let count = traps.split_once(' ').unwrap().0;
            [count, due, read].map(str::to_owned)
        })
        .collect()
}

#[test]
fn mails_that_were_sent_are_counted() {
    let page = page(demo(), "bram");
    let database = Connection::open(played_demo().join("duskflight.sqlite")).unwrap();
    let sent = |kind: &str| {
        let sql = format!(
            "SELECT count(*) FROM outbox WHERE person = 'bram' AND kind = '{kind}' AND state = 'sent'"
        );
        rows(&database, &sql)[0][0].clone()
    };
    let expected = format!(
        "Mails sent to Bram Tollerud: {} key-date alerts and {} weekly letters.",
        sent("alert"),
        sent("letter")
    );
    assert!(page.contains(&expected), "{expected}");
}

#[test]
fn a_page_stands_by_itself_and_a_grower_sees_no_other_ones_blocks() {
    let page = page(demo(), "suneeta");
    for outside in ["<script", "<link", "src=", "url(", "@import", " style="] {
        assert!(!page.contains(outside), "{outside}");
    }
    // An address is that of the name space of SVG alone.
    assert!(
        !page
            .replace("http://www.w3.org/2000/svg", "")
            .contains("http")
    );
    for other in ["North Slough", "Canal", "Home Place", "Delmar", "Ivette"] {
        assert!(!page.contains(other), "{other}");
    }
    assert!(page.contains("not a pesticide recommendation"));
    assert!(page.contains("Orsa Quillan, 209-555-0110"));
}

/// A farm whose block may be shown, with a name that is neither markup nor a formula.
fn public_farm(name: &str) -> Farm {
    let farm = Farm::new("2022-04-30");
    let blocks = format!(
        "id,name,grower,adviser,crop,regime,station,varieties,public\n\
         home,Home block,gil,ada,almond,conventional,yard,Nonpareil,\"{name}\"\n"
    );
    farm.write("blocks.csv", &blocks);
    farm.import("visits.csv", VISITS);
    farm
}

/// Writes what anybody may see of a farm.
fn public<'a>(farm: &'a Farm, out: &'a str) -> [&'a str; 8] {
    let config = farm.config();
    let day = "2022-04-18";
    [
        "report", "--public", "--config", config, "--as-of", day, "--out", out,
    ]
}

/// What is written of a farm for anybody, as one text.
fn shown(farm: &Farm) -> (TempDir, String) {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().to_str().unwrap();
    printed(&public(farm, out));
    let read = |name: &str| fs::read_to_string(dir.path().join(name)).unwrap();
    let text = ["public.html", "catches.csv", "starts.csv"]
        .map(read)
        .concat();
    (dir, text)
}

#[test]
fn only_blocks_that_agreed_are_shown_and_under_the_name_given_for_it() {
    let farm = public_farm("Valley floor 3");
    farm.add_grower("hal");
    let (_, text) = shown(&farm);
    assert!(text.contains("Valley floor 3"));
    for hidden in [
        "Gil",
        "gil",
        "Ada",
        "Home block",
        "home",
        "hal",
        "Test orchards",
        "yard",
        "e1",
    ] {
        assert!(!text.contains(hidden), "{hidden}");
    }
    // Eggs of the 12th and 15th in the week to the 18th, 31 on four traps; the start is that of the rule.
    assert!(
        text.contains("Valley floor 3,almond,conventional,egg,eggs,2022-04-12,2022-04-18,4,31,"),
        "{text}"
    );
    assert!(
        text.contains("Valley floor 3,2022,2022-04-12,confirmed,"),
        "{text}"
    );
}

#[test]
fn without_an_agreement_nothing_is_written() {
    let farm = Farm::new("2022-04-30");
    let out = farm.path("out");
    let out = out.to_str().unwrap();
    let said = refused(2, &public(&farm, out));
    assert!(said.contains("column public of blocks.csv"), "{said}");
    assert!(!Path::new(out).exists());
}

#[test]
fn names_are_neither_markup_nor_formulas() {
    let farm = public_farm("=cmd|<b>'");
    farm.change(
        "name = \"Gil Marrow\"",
        "name = \"Gil <script>alert(1)</script> \\\"Marrow\"",
    );
    let (_, text) = shown(&farm);
    assert!(text.contains("'=cmd|<b>',almond"), "{text}");
    assert!(!text.contains("<th scope=\"row\">=cmd|<b>"));
    let page = page(farm.config(), "gil");
    assert!(
        page.contains("Gil &#60;script&#62;alert(1)")
            || page.contains("Gil &lt;script&gt;alert(1)")
    );
    assert!(!page.contains("<script"));
}

#[test]
fn who_is_not_there_or_has_no_block_is_refused() {
    let farm = Farm::new("2022-04-30");
    let report = |more: &[&str]| {
        let arguments = [
            "report",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-18",
            "--out",
            "/nowhere",
        ];
        refused(2, &[&arguments[..], more].concat())
    };
    assert!(report(&["--grower", "nobody"]).contains("no such person"));
    assert!(report(&["--grower", "ada"]).contains("no block of ada was in force"));
    assert!(report(&["--year", "2023"]).contains("had not begun"));
}

#[test]
fn two_sites_of_one_name_are_refused() {
    let farm = public_farm("Valley floor 3");
    farm.add_grower("hal");
    let blocks = fs::read_to_string(farm.path("blocks.csv")).unwrap();
    let line = "other,Other block,gil,ada,almond,conventional,yard,Nonpareil,valley FLOOR 3\n";
    farm.write("blocks.csv", &(blocks + line));
    let said = refused(78, &["check", "--config", farm.config()]);
    assert!(said.contains("give each site a name of its own"), "{said}");
}
