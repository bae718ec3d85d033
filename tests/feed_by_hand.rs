//! Feeds asked by hand: what is understood of an answer, and past days.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use chrono::{Datelike, NaiveDate};
use serde_json::{Value, json};

use crate::answering::Answering;
use crate::harness::{Farm, printed, refused, rows};

/// What a service answers otherwise than usual.
#[derive(Default)]
struct Script {
    /// Days whose maximum is this text.
    maxima: BTreeMap<&'static str, &'static str>,
    /// Years that it has nothing of.
    gone: Vec<i32>,
    /// Whether all is in °C.
    celsius: bool,
}

/// A service in the shape of ACIS that has every day, of which a test changes some.
fn service(script: &Arc<Mutex<Script>>) -> Answering {
    let script = Arc::clone(script);
    Answering::start(move |url| {
        let script = script.lock().unwrap();
        let (_, params) = url.query_pairs().find(|(name, _)| name == "params")?;
        let params: Value = serde_json::from_str(&params).unwrap();
        let day = |name: &str| -> NaiveDate { params[name].as_str().unwrap().parse().unwrap() };
        let (from, to) = (day("sdate"), day("edate"));
        let days = from.iter_days().take_while(|day| *day <= to);
        let rows: Vec<Value> = days.map(|day| row(&script, day)).collect();
        let answer = json!({"meta": {"sids": ["KMCE 5"]}, "data": rows});
        (!script.gone.contains(&from.year())).then(|| answer.to_string())
    })
}

fn row(script: &Script, day: NaiveDate) -> Value {
    let warm = 20 - 3 * i64::from(day.month().abs_diff(7)) + i64::from(day.ordinal() % 5);
    let text = |fahrenheit: i64| match script.celsius {
        true => format!("{:.1}", (fahrenheit - 32) as f64 / 1.8),
        false => fahrenheit.to_string(),
    };
    let day = day.to_string();
    let max = match script.maxima.get(&*day) {
        Some(max) => (*max).to_owned(),
        None => text(72 + warm),
    };
    json!([day, max, text(45 + warm)])
}

fn farm_at(service: &Answering) -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.has_feed(&format!(
        "[station.acis]\nstation = \"KMCE\"\nbase_url = \"{}\"\n",
        service.url("/StnData")
    ));
    farm
}

const DAYS: &str = "SELECT * FROM station_day ORDER BY day";
const LOG: &str = "SELECT * FROM fetch_log ORDER BY id";

fn trial<'a>(farm: &'a Farm, more: &[&'a str]) -> Vec<&'a str> {
    let command = ["feed", "try", "--station", "yard", "--config"];
    [&command, &[farm.config()][..], more].concat()
}

fn tried(farm: &Farm, more: &[&str]) -> String {
    printed(&trial(farm, more))
}

fn backfill<'a>(farm: &'a Farm, more: &[&'a str]) -> Vec<&'a str> {
    let arguments = [
        "feed",
        "backfill",
        "--station",
        "yard",
        "--pause",
        "0",
        "--config",
    ];
    let span = ["--from", "2010-03-01", "--to", "2012-12-31"];
    [&arguments, &[farm.config()][..], &span, more].concat()
}

#[test]
fn a_feed_that_is_tried_says_what_was_understood_and_dropped_and_stores_nothing() {
    let script: Arc<Mutex<Script>> = Arc::default();
    script.lock().unwrap().maxima = [
        ("2022-06-15", "M"),
        ("2022-06-16", "101A"),
        ("2022-06-17", "199"),
    ]
    .into();
    let service = service(&script);
    let farm = farm_at(&service);
    let said = tried(&farm, &["--days", "5", "--as-of", "2022-06-20"]);
    assert_eq!(service.asked().len(), 1);
    for words in [
        "Yard logger (yard): acis-stndata, http://127.0.0.1",
        "asked for 2022-06-15 to 2022-06-19; observed values, °F",
        "2022-06-15   63 °F   –",
        "maximum not used: outside physical bounds",
        "5 days came, 3 with both temperatures\n",
        "dropped: row 2 (2022-06-16): \"101A\" in column \"maxt\" is not a temperature; counted as missing",
        "no forecast is declared for it",
        "nothing was stored\n",
    ] {
        assert!(said.contains(words), "{words:?} is missing in\n{said}");
    }
    assert_eq!(rows(&farm.database(), DAYS), Vec::<Vec<String>>::new());
    assert_eq!(rows(&farm.database(), LOG), Vec::<Vec<String>>::new());
}

#[test]
fn days_that_are_not_there_and_a_file_are_named_when_a_table_is_tried() {
    let farm = Farm::new("2022-04-12");
    let said = tried(&farm, &["--days", "7", "--as-of", "2022-04-16"]);
    assert!(said.contains("4 days came, 4 with both temperatures; not there: 3 days, from 2022-04-13 to 2022-04-15\n"), "{said}");
    std::fs::remove_file(farm.path("yard.csv")).unwrap();
    let gone = refused(75, &trial(&farm, &[]));
    assert!(
        gone.contains("station yard: read the station table"),
        "{gone}"
    );
}

#[test]
fn what_would_be_kept_aside_is_said_when_it_is_tried() {
    let script: Arc<Mutex<Script>> = Arc::default();
    let service = service(&script);
    let farm = farm_at(&service);
    printed(&backfill(&farm, &[]));
    let well = tried(&farm, &["--days", "60", "--as-of", "2012-12-20"]);
    assert!(well.contains("nothing is odd about it"), "{well}");
    script.lock().unwrap().celsius = true;
    let odd = tried(&farm, &["--days", "60", "--as-of", "2012-12-20"]);
    assert!(odd.contains("it would be kept aside: "), "{odd}");
}

#[test]
fn a_backfill_goes_on_where_it_stopped_and_passes_over_what_is_there() {
    let script: Arc<Mutex<Script>> = Arc::default();
    script.lock().unwrap().gone = vec![2011];
    let service = service(&script);
    let farm = farm_at(&service);
    let said = refused(75, &backfill(&farm, &[]));
    assert!(
        said.contains("nothing came for 2011-01-01 to 2011-12-31"),
        "{said}"
    );
    assert_eq!(
        service.asked().len(),
        2,
        "what comes after is not asked for"
    );
    script.lock().unwrap().gone.clear();
    let said = printed(&backfill(&farm, &[]));
    let expected = "\
2010-03-01 to 2010-12-31: there already; --again asks all the same
2011-01-01 to 2011-12-31: 365 days received, 365 new, 0 different
2012-01-01 to 2012-12-31: 366 days received, 366 new, 0 different
";
    assert_eq!(said, expected);
    assert_eq!(service.asked().len(), 4);
    assert_eq!(
        rows(&farm.database(), "SELECT count(*) FROM station_day"),
        [["1037"]]
    );
}

#[test]
fn a_backfill_on_trial_says_what_would_change_and_changes_nothing() {
    let script: Arc<Mutex<Script>> = Arc::default();
    let service = service(&script);
    let farm = farm_at(&service);
    let trial = printed(&backfill(&farm, &["--dry-run"]));
    assert!(
        trial.contains("365 days received, 365 new, 0 different"),
        "{trial}"
    );
    assert_eq!(rows(&farm.database(), DAYS), Vec::<Vec<String>>::new());
    printed(&backfill(&farm, &[]));
    let before = (rows(&farm.database(), DAYS), rows(&farm.database(), LOG));
    script.lock().unwrap().maxima = [("2011-07-04", "93")].into();
    let trial = printed(&backfill(&farm, &["--dry-run", "--again"]));
    let line = "365 days received, 0 new, 1 different\n  2011-07-04: 65 °F to 93 °F, before 65 °F to 92 °F\n";
    assert!(
        trial.contains(line) && trial.ends_with("nothing was stored\n"),
        "{trial}"
    );
    assert_eq!(
        (rows(&farm.database(), DAYS), rows(&farm.database(), LOG)),
        before
    );
    printed(&backfill(&farm, &["--again"]));
    let history = "SELECT day, tmax FROM station_day_history";
    assert_eq!(rows(&farm.database(), history), [["2011-07-04", "92"]]);
}

#[test]
fn past_days_that_are_odd_as_a_whole_are_kept_aside() {
    let script: Arc<Mutex<Script>> = Arc::default();
    let service = service(&script);
    let farm = farm_at(&service);
    printed(&backfill(&farm, &[]));
    let before = rows(&farm.database(), DAYS);
    script.lock().unwrap().celsius = true;
    let said = printed(&backfill(&farm, &["--again"]));
    assert!(
        said.contains("kept aside, see `duskflight feed aside`: "),
        "{said}"
    );
    assert_eq!(rows(&farm.database(), DAYS), before);
    let aside = printed(&["feed", "aside", "--config", farm.config()]);
    assert!(aside.contains("3 answers kept aside"), "{aside}");
}

#[test]
fn the_kinds_of_feeds_are_listed_with_what_they_need_and_who_uses_them() {
    let farm = Farm::new("2022-04-30");
    let said = printed(&["feed", "list", "--config", farm.config()]);
    let kinds: Vec<&str> = said.split("\n\n").collect();
    let of = |table: &str| {
        let heading = format!("[{table}]\n");
        *kinds
            .iter()
            .find(|kind| kind.starts_with(&heading))
            .unwrap()
    };
    assert!(
        of("station.table").contains("  used by   yard (Yard logger)"),
        "{said}"
    );
    let cimis = of("station.cimis");
    assert!(cimis.contains("  needs     a key of your own"), "{said}");
    assert!(cimis.contains("  used by   no station here"), "{said}");
    assert!(
        of("station.forecast.open_meteo").contains("  values    forecast, "),
        "{said}"
    );
    // It is of use before there is a farm, too.
    let without = printed(&["feed", "list", "--config", "/nowhere"]);
    assert!(without.contains("  used by   –"), "{without}");
}
