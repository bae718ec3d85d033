//! From a raw station day to a sum: what is not used, what stands in for it, and what people decide.

use crate::harness::{Farm, VISITS, printed, refused, rows, run, table};

/// A farm whose yard logger sent nonsense on 14 April.
fn farm_with_nonsense() -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    let nonsense = table("2022-04-30").replace("2022-04-14,63,87", "2022-04-14,63,999");
    farm.write("yard.csv", &nonsense);
    farm
}

fn explained(farm: &Farm, day: &str) -> String {
    let block = ["explain", "--block", "home", "--format", "csv"];
    let config = ["--config", farm.config(), "--as-of", day];
    printed(&[&block[..], &config[..]].concat())
}

fn line_of<'a>(text: &'a str, day: &str) -> &'a str {
    let found = text.lines().find(|line| line.starts_with(day));
    found.unwrap_or_else(|| panic!("{day} is missing in\n{text}"))
}

fn decide<'a>(farm: &'a Farm, arguments: &[&'a str]) -> Vec<&'a str> {
    let which = [
        "--config",
        farm.config(),
        "--station",
        "yard",
        "--date",
        "2022-04-14",
        "--element",
        "tmax",
        "--by",
        "ada",
    ];
    [&["days"], arguments, &which[..]].concat()
}

#[test]
fn a_suspect_value_is_kept_listed_and_not_used_but_its_neighbour_is() {
    let farm = farm_with_nonsense();
    farm.nightly("2022-04-18");
    let stored = "SELECT tmin, tmax FROM station_day WHERE day = '2022-04-14'";
    assert_eq!(rows(&farm.database(), stored), [["63", "999"]]);
    let list = printed(&[
        "days",
        "list",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-18",
    ]);
    assert!(list.contains("maximum"), "{list}");
    assert!(list.contains("outside physical bounds"), "{list}");
    assert!(list.contains("1 not used, 0 decided by hand"), "{list}");
    let text = explained(&farm, "2022-04-18");
    let line = line_of(&text, "2022-04-14");
    assert!(line.starts_with("2022-04-14,yard,63,"), "{line}");
    assert!(line.contains("measured,"), "{line}");
    assert!(line.contains("(out-of-bounds)"), "{line}");
    let mail = farm.digest("2022-04-18");
    assert!(
        mail.contains("of Apr 14 not used: outside physical bounds"),
        "{mail}"
    );
    assert!(mail.contains("1 day estimated, Apr 14"), "{mail}");
}

#[test]
fn what_explain_prints_adds_up_to_what_season_says() {
    let farm = farm_with_nonsense();
    farm.nightly("2022-04-25");
    let text = explained(&farm, "2022-04-25");
    let mut sum = 0.0;
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        sum += cells[7].parse::<f64>().unwrap();
        assert!(
            (cells[8].parse::<f64>().unwrap() - sum).abs() < 1e-9,
            "{line}"
        );
    }
    assert_eq!(text.lines().count(), 1 + 13, "from 12 to 24 April");
    // 100 are not reached on the 16th: the estimated 14th falls short of its 20.
    let passed = line_of(&text, "2022-04-17");
    assert!(passed.ends_with("first egg hatch"), "{passed}");
    let season = printed(&[
        "season",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-25",
        "--format",
        "json",
    ]);
    let season: serde_json::Value = serde_json::from_str(&season).unwrap();
    let told = season[0]["degree_days"].as_f64().unwrap();
    assert!((told - sum).abs() < 1e-9, "{told} {sum}");
    assert!((sum - 260.0).abs() < 2.0, "13 days of about 20: {sum}");
}

#[test]
fn explain_without_a_start_says_so_and_counts_from_new_year() {
    let farm = Farm::new("2022-04-30");
    farm.nightly("2022-04-02");
    let text = printed(&[
        "explain",
        "--block",
        "home",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-02",
    ]);
    assert!(
        text.contains("from 1 January, since there is no egg-laying start yet"),
        "{text}"
    );
    assert!(text.contains("2022-01-01"), "{text}");
    let unknown = ["explain", "--block", "hom", "--config", farm.config()];
    assert!(refused(2, &unknown).contains("block hom: no such block"));
}

#[test]
fn a_value_corrected_by_hand_stands_and_can_be_taken_back() {
    let farm = farm_with_nonsense();
    farm.nightly("2022-04-18");
    let why = [
        "correct",
        "--value",
        "87",
        "--unit",
        "f",
        "--why",
        "read off the spare logger",
    ];
    let said = printed(&decide(&farm, &why));
    assert!(
        said.contains("87.0 °F, corrected by ada: read off the spare logger"),
        "{said}"
    );
    let line = line_of(&explained(&farm, "2022-04-18"), "2022-04-14").to_owned();
    assert!(
        line.starts_with("2022-04-14,yard,63,87,f,measured,by hand,20"),
        "{line}"
    );
    // Whatever the feed sends later, what was decided stands.
    farm.write(
        "yard.csv",
        &table("2022-04-30").replace("2022-04-14,63,87", "2022-04-14,63,70"),
    );
    farm.nightly("2022-04-19");
    assert!(line_of(&explained(&farm, "2022-04-19"), "2022-04-14").contains(",87,f,"));
    printed(&decide(&farm, &["withdraw"]));
    assert!(line_of(&explained(&farm, "2022-04-19"), "2022-04-14").contains(",70,f,"));
    let history = "SELECT decision, value, why, replaced_by FROM temperature_decision_history";
    assert_eq!(
        rows(&farm.database(), history),
        [["corrected", "87", "read off the spare logger", "ada"]]
    );
    assert!(refused(2, &decide(&farm, &["withdraw"])).contains("nothing was decided"));
}

#[test]
fn a_confirmed_value_is_used_until_the_feed_sends_another() {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    // A minimum of exactly the freezing point on a warm day: a logger that was reset, or was it?
    farm.write(
        "yard.csv",
        &table("2022-04-30").replace("2022-04-14,63,87", "2022-04-14,32,87"),
    );
    farm.nightly("2022-04-18");
    let of_min = |arguments: &[&'static str]| -> Vec<String> {
        let decided = decide(&farm, arguments);
        decided
            .into_iter()
            .map(|word| word.replace("tmax", "tmin"))
            .collect()
    };
    let run = |arguments: &[String]| {
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        printed(&arguments)
    };
    let suspect = explained(&farm, "2022-04-18");
    assert!(
        line_of(&suspect, "2022-04-14").contains("(false-zero)"),
        "{suspect}"
    );
    run(&of_min(&[
        "confirm",
        "--why",
        "the orchard froze, I saw the ice",
    ]));
    assert!(
        line_of(&explained(&farm, "2022-04-18"), "2022-04-14")
            .contains(",32,87,f,by hand,measured,")
    );
    farm.write(
        "yard.csv",
        &table("2022-04-30").replace("2022-04-14,63,87", "2022-04-14,62,87"),
    );
    farm.nightly("2022-04-19");
    assert!(
        line_of(&explained(&farm, "2022-04-19"), "2022-04-14")
            .contains(",62,87,f,measured,measured,")
    );
}

#[test]
fn what_cannot_be_decided_is_refused_with_a_reason() {
    let farm = farm_with_nonsense();
    farm.nightly("2022-04-18");
    let check = |arguments: &[&str], words: &str| {
        let said = refused(2, &decide(&farm, arguments));
        assert!(said.contains(words), "{words:?} is missing in {said}");
    };
    check(
        &["confirm", "--why", "sure"],
        "no thermometer in the region has shown that",
    );
    check(
        &["correct", "--value", "870", "--unit", "f", "--why", "x"],
        "no thermometer",
    );
    check(
        &["correct", "--value", "87", "--unit", "f", "--why", " "],
        "say who decides, and why",
    );
    let other = [
        "days",
        "withdraw",
        "--config",
        farm.config(),
        "--station",
        "yards",
        "--date",
        "2022-04-14",
        "--element",
        "tmin",
        "--by",
        "ada",
    ];
    assert!(refused(2, &other).contains("there are yard"));
}

/// A second station, whose table is a few degrees cooler, stands in for the first.
fn farm_with_fall_back() -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    farm.change(
        "history_years = 12",
        "history_years = 12\nfall_backs = [\"hill\"]",
    );
    farm.change(
        "[[product]]\nid = \"meal\"",
        "[[station]]\nid = \"hill\"\nname = \"Hill logger\"\nhistory_years = 12\n\n[station.table]\n\
         source = \"hill.csv\"\ndate_column = \"date\"\nmin_column = \"low\"\n\
         max_column = \"high\"\nunit = \"f\"\n\n[[product]]\nid = \"meal\"",
    );
    farm.write("hill.csv", &table("2022-04-30"));
    farm
}

#[test]
fn a_fall_back_stands_in_also_for_the_newest_days() {
    let farm = farm_with_fall_back();
    // The yard logger has been silent for eight days, longer than any gap a line is drawn across.
    farm.write("yard.csv", &table("2022-04-16"));
    let said = farm.nightly("2022-04-25");
    assert!(!said.contains("failed"), "{said}");
    let text = explained(&farm, "2022-04-25");
    let line = line_of(&text, "2022-04-24");
    assert!(line.contains("fall-backs"), "{line}");
    let cells: Vec<&str> = line.split(',').collect();
    let heat: f64 = cells[7].parse().unwrap();
    assert!((heat - 20.0).abs() < 1.0, "{line}");
    let mail = farm.digest("2022-04-25");
    assert!(mail.contains("from fall-back stations (Hill"), "{mail}");
    assert!(mail.contains("no complete day since Apr 16"), "{mail}");
}

#[test]
fn fall_backs_and_moves_that_are_wrong_are_named_with_their_line() {
    let farm = farm_with_fall_back();
    farm.change(
        "fall_backs = [\"hill\"]",
        "moved = [\"in 2015\"]\nlatitude = 95.0\nheight_m = 80\nfall_backs = [\"hil\", \"yard\", \"hill\", \"hill\"]",
    );
    let said = refused(78, &["check", "--config", farm.config()]);
    for fault in [
        "fall_backs: hil: no such station; did you mean \"hill\"?",
        "fall_backs: yard: a station cannot stand in for itself",
        "fall_backs: hill: it stands twice",
        "moved: \"in 2015\" is not a day",
        "latitude = 95: write a number from -90 to 90",
        "give latitude and longitude together, or neither",
    ] {
        assert!(said.contains(fault), "{fault:?} is missing in\n{said}");
    }
}

fn json_marks(farm: &Farm, day: &str) -> serde_json::Value {
    let season = [
        "season",
        "--config",
        farm.config(),
        "--as-of",
        day,
        "--format",
        "json",
    ];
    let season: serde_json::Value = serde_json::from_str(&printed(&season)).unwrap();
    season[0]["marks"].clone()
}

/// A forecast for the yard, in `ahead.csv`.
fn declare_forecast(farm: &Farm) {
    farm.change(
        "[[product]]\nid = \"meal\"",
        "[station.forecast.table]\nsource = \"ahead.csv\"\ndate_column = \"date\"\n\
         min_column = \"low\"\nmax_column = \"high\"\nunit = \"f\"\n\n[[product]]\nid = \"meal\"",
    );
}

#[test]
fn check_asks_for_the_forecast_too() {
    let farm = Farm::new("2022-05-29");
    declare_forecast(&farm);
    farm.write("ahead.csv", "date,low,top\n");
    let check = ["check", "--online", "--config", farm.config()];
    let check = [&check[..], &["--as-of", "2022-05-30"]].concat();
    let output = run(&check);
    assert_eq!(output.status.code(), Some(75));
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("the forecast: read the days from") && said.contains("no column \"high\""),
        "{said}"
    );
    farm.write("ahead.csv", "date,low,high\n2022-05-30,65,85\n");
    let said = printed(&check);
    assert!(
        said.contains("station yard: newest day 2022-05-29"),
        "{said}"
    );
}

#[test]
fn a_forecast_comes_before_past_years_and_passes_no_mark() {
    let farm = Farm::new("2022-05-29");
    farm.import("round.csv", VISITS);
    farm.nightly("2022-05-30");
    // 960 °F-days by 29 May; at 20 a day 1056 is reached on the fifth day from 30 May.
    let second = json_marks(&farm, "2022-05-30")[1].clone();
    assert_eq!(
        (&second["status"], &second["date"]),
        (&"projected".into(), &"2022-06-03".into())
    );
    declare_forecast(&farm);
    // A heat wave of 35 a day: 98 lie behind its third day, but it has not come yet.
    let days = ["2022-05-30", "2022-05-31", "2022-06-01", "2022-06-02"];
    let rows: String = days.map(|day| format!("{day},85,95\n")).concat();
    farm.write("ahead.csv", &format!("date,low,high\n{rows}"));
    printed(&[
        "nightly",
        "--again",
        "--config",
        farm.config(),
        "--as-of",
        "2022-05-30",
    ]);
    farm.write("yard.csv", &table("2022-05-30"));
    farm.nightly("2022-05-31");
    let second = json_marks(&farm, "2022-05-31")[1].clone();
    // 980 by 30 May and twice 35 leave 6 for 2 June.
    assert_eq!(
        (&second["status"], &second["date"]),
        (&"projected".into(), &"2022-06-02".into())
    );
    let mail = farm.digest("2022-05-31");
    let season = printed(&["season", "--config", farm.config(), "--as-of", "2022-05-31"]);
    assert!(season.contains("after 3 forecast days"), "{season}");
    assert!(
        mail.contains("Yard logger: forecast by the table declared for it"),
        "{mail}"
    );
    // A forecast that does not come is said, and the one before has grown too old by itself.
    std::fs::remove_file(farm.path("ahead.csv")).unwrap();
    farm.write("yard.csv", &table("2022-06-01"));
    let said = farm.nightly("2022-06-02");
    assert!(
        said.contains("no forecast, so past years alone continue the season"),
        "{said}"
    );
    let second = json_marks(&farm, "2022-06-02")[1].clone();
    assert_eq!(second["date"], "2022-06-03");
}

/// A real record, with a minimum of 0 °C put in on a warm day and a week taken out.
fn spoilt_record(dir: &std::path::Path) -> std::path::PathBuf {
    let record = include_str!("../daemon/src/demo/merced.csv");
    let spoilt: String = record
        .lines()
        .filter(|line| !("2015-07-10".."2015-07-17").contains(&&line[..line.len().min(10)]))
        .map(|line| match line.split_once(',') {
            Some(("2015-05-12", rest)) => {
                format!("2015-05-12,0.0,{}\n", rest.rsplit(',').next().unwrap())
            }
            _ => format!("{line}\n"),
        })
        .collect();
    let path = dir.join("merced.csv");
    std::fs::write(&path, spoilt).unwrap();
    path
}

#[test]
fn a_record_is_screened_and_filled_by_itself_as_a_night_would() {
    let dir = tempfile::tempdir().unwrap();
    let path = spoilt_record(dir.path());
    let file = path.to_str().unwrap();
    let suspects = printed(&["screen", file, "--format", "csv"]);
    assert!(
        suspects.starts_with("date,element,value,reason\n"),
        "{suspects}"
    );
    assert!(
        suspects.contains("\n2015-05-12,tmin,0,false-zero\n"),
        "{suspects}"
    );
    let estimates = printed(&["fill", file, "--format", "csv"]);
    let of_gap = estimates
        .lines()
        .filter(|line| line.starts_with("2015-07-1"));
    assert_eq!(of_gap.count(), 14);
    assert!(
        line_of(&estimates, "2015-05-12").contains(",tmin,"),
        "{estimates}"
    );
    // Before the day it is put in, and with it hidden, nothing of it is known.
    let before = printed(&["screen", file, "--format", "csv", "--as-of", "2015-05-12"]);
    assert!(!before.contains("2015-05-12"), "{before}");
    let table = printed(&["screen", file]);
    assert!(
        table.contains("exactly zero on a day that was not that cold"),
        "{table}"
    );
}

#[test]
fn a_hindcast_knows_only_earlier_years() {
    let dir = tempfile::tempdir().unwrap();
    let path = spoilt_record(dir.path());
    let file = path.to_str().unwrap();
    let rows = printed(&[
        "hindcast",
        file,
        "--targets",
        "1056",
        "--made-on",
        "0,40",
        "--format",
        "csv",
    ]);
    assert!(
        rows.starts_with("station,year,target,made_on,early,middle,late,truth\n"),
        "{rows}"
    );
    // The record begins in August 1998: 2009 is the first season with ten springs before it.
    let years: Vec<&str> = rows
        .lines()
        .skip(1)
        .map(|row| row.split(',').nth(1).unwrap())
        .collect();
    assert_eq!(
        (years.first(), years.last()),
        (Some(&"2009"), Some(&"2022"))
    );
    for row in rows.lines().skip(1) {
        let numbers: Vec<f64> = row
            .split(',')
            .skip(4)
            .map(|cell| cell.parse().unwrap())
            .collect();
        assert!(numbers[0] < numbers[1] && numbers[1] < numbers[2], "{row}");
        assert!((140.0..220.0).contains(&numbers[3]), "{row}");
    }
    let table = printed(&["hindcast", file]);
    assert!(table.contains("merced, 2009 to 2022"), "{table}");
    let lagging = printed(&["hindcast", file, "--latency", "3", "--format", "csv"]);
    assert!(lagging.lines().count() > 50, "{lagging}");
    assert!(refused(2, &["hindcast", file, "--start", "31-31"]).contains("such as 04-20"));
    assert!(refused(2, &["hindcast", file, "--targets", "0"]).contains("above zero"));
    assert!(refused(2, &["screen", "nowhere.csv"]).contains("read nowhere.csv"));
}
