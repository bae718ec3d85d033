//! From an orchard's coordinates to a checked station: `stations near`, its lines pasted, `check`, `feed try`.

use std::process::Output;

use reqwest::Url;
use serde_json::{Value, json};

use crate::answering::Answering;
use crate::harness::{Farm, duskflight, printed};

const DAY: &str = "2026-11-29";
const ORCHARD: &str = "37.12,-120.26";

/// The shapes of the lists, with a few invented stations around the orchard beside the airport.
fn lists(url: &Url) -> Option<String> {
    match url.path() {
        "/StnMeta" => Some(
            json!({"meta": [
                station("FAR HILL", (-120.10, 37.40), 2400.0, &["041234 2", "USC00041234 6"], "1990-01-01", DAY),
                station("MERCED MUNICIPAL AIRPORT", (-120.5128, 37.2848), 153.0,
                    &["23257 1", "MCE 3", "KMCE 5", "USW00023257 6"], "1998-08-01", "2026-11-28"),
                station("YOUNG", (-120.30, 37.10), 240.0, &["047777 2"], "2020-05-01", "2026-11-28"),
                station("GONE", (-120.28, 37.11), 240.0, &["048888 2"], "1950-05-01", "1997-12-31"),
            ]})
            .to_string(),
        ),
        "/StnData" => Some(days_of(&params(url))),
        "/api/station" => Some(
            json!({"Stations": [{"StationNbr": "206", "Name": "Chowchilla", "ConnectDate": "6/1/2008",
                "DisconnectDate": "12/31/2050", "IsActive": "True", "Elevation": "230", "City": "Chowchilla",
                "HmsLatitude": "37º5'0N / 37.080000", "HmsLongitude": "-120º20'0W / -120.340000"}]})
            .to_string(),
        ),
        "/daily/ghcnd-inventory.txt" => Some(
            "USC00049999  37.0000 -120.3000 TMAX 1950 2026\nUSC00049999  37.0000 -120.3000 TMIN 1950 2026\n\
             USW00023257  37.2847 -120.5128 TMAX 1998 2026\nUSW00023257  37.2847 -120.5128 TMIN 1998 2026\n"
                .to_owned(),
        ),
        "/daily/ghcnd-stations.txt" => Some(
            "USC00049999  37.0000 -120.3000   70.0 CA SOUTH OF IT\n\
             USW00023257  37.2847 -120.5128   46.6 CA MERCED MUNI AP\n"
                .to_owned(),
        ),
        _ => None,
    }
}

fn station(
    name: &str,
    ll: (f64, f64),
    feet: f64,
    sids: &[&str],
    first: &str,
    newest: &str,
) -> Value {
    let days = [first, newest];
    json!({"name": name, "state": "CA", "ll": [ll.0, ll.1], "elev": feet, "sids": sids, "valid_daterange": [days, days]})
}

fn params(url: &Url) -> Value {
    let (_, params) = url
        .query_pairs()
        .find(|(name, _)| name == "params")
        .unwrap();
    serde_json::from_str(&params).unwrap()
}

/// Every day with its hours where those are asked for, and plain else; the young station has two of three.
fn days_of(params: &Value) -> String {
    let day = |name: &str| -> chrono::NaiveDate { params[name].as_str().unwrap().parse().unwrap() };
    let (from, to) = (day("sdate"), day("edate"));
    let young = params["sid"] == "047777 2";
    let with_hours = params["elems"].is_array();
    let rows = from.iter_days().take_while(|day| *day <= to).enumerate();
    let rows = rows.map(|(place, day)| {
        let (max, min) = match place % 3 {
            2 if young => ("M", "M"),
            0 => ("61", "40"),
            _ => ("63", "42"),
        };
        let hour = if young { 7 } else { 24 };
        match with_hours {
            true => json!([day.to_string(), [max, hour], [min, hour]]),
            false => json!([day.to_string(), max, min]),
        }
    });
    json!({"data": rows.collect::<Vec<Value>>()}).to_string()
}

fn near(service: &Answering, more: &[&str]) -> Output {
    let (acis, cimis, ghcn) = (
        service.url(""),
        service.url("/api/station"),
        service.url("/daily"),
    );
    duskflight()
        .args([
            "stations", "near", ORCHARD, "--as-of", DAY, "--config", "/nowhere",
        ])
        .args(["--acis", &acis, "--cimis", &cimis, "--ghcn", &ghcn])
        .args(more)
        .output()
        .unwrap()
}

fn text(output: &Output) -> String {
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{errors}");
    String::from_utf8(output.stdout.clone()).unwrap()
}

#[test]
fn stations_around_an_orchard_come_with_distance_height_days_and_what_to_look_at() {
    let service = Answering::start(lists);
    let said = text(&near(&service, &["--height", "240ft"]));
    insta::assert_snapshot!(said);
    let asked: Vec<String> = service
        .asked()
        .iter()
        .map(|url| url.path().to_owned())
        .collect();
    let expected = [
        "/StnMeta",
        "/api/station",
        "/StnData",
        "/StnData",
        "/StnData",
    ];
    assert_eq!(asked, expected, "the long list is left alone");
}

#[test]
fn lines_that_are_pasted_make_a_station_that_check_and_a_try_accept() {
    let service = Answering::start(lists);
    let said = text(&near(&service, &[]));
    assert!(
        said.contains("# How high the orchard lies is not known"),
        "{said}"
    );
    let farm = Farm::new("2022-04-30");
    let main = std::fs::read_to_string(farm.path("duskflight.toml")).unwrap();
    farm.write("duskflight.toml", &format!("{main}\n{said}"));
    let checked = printed(&["check", "--config", farm.config()]);
    assert!(checked.contains("Test orchards: no errors"), "{checked}");
    let of_service = format!(
        "station = \"KMCE\"\nbase_url = \"{}\"",
        service.url("/StnData")
    );
    farm.change("station = \"KMCE\"", &of_service);
    let id = "merced-municipal-airport";
    let tried = printed(&["feed", "try", "--station", id, "--config", farm.config()]);
    assert!(
        tried.contains("14 days came, 14 with both temperatures"),
        "{tried}"
    );
    // Another time the ids that the farm has are not given again.
    let again = duskflight()
        .args([
            "stations",
            "near",
            ORCHARD,
            "--as-of",
            DAY,
            "--config",
            farm.config(),
        ])
        .args([
            "--acis",
            &service.url(""),
            "--cimis",
            &service.url("/api/station"),
        ])
        .output();
    let again = text(&again.unwrap());
    assert!(
        again.contains("id = \"merced-municipal-airport-2\""),
        "{again}"
    );
}

/// As deploy/guide/stations.md has it, from the files that `init` writes.
#[test]
fn the_guide_leads_from_coordinates_to_a_checked_station() {
    let service = Answering::start(lists);
    let dir = tempfile::tempdir().unwrap();
    let farm = dir.path().join("farm");
    let config = farm.to_str().unwrap();
    printed(&["init", config]);
    let said = text(&near(&service, &["--height", "240ft"]));
    let id = "merced-municipal-airport";
    let stanzas = said.split("\n\n# ");
    let stanza = stanzas.filter(|stanza| stanza.contains(id)).last().unwrap();
    let file = farm.join("duskflight.toml");
    let main = std::fs::read_to_string(&file).unwrap();
    let (before, after) = main.split_once("[[station]]").unwrap();
    let (_, after) = after.split_once("# What wears out").unwrap();
    let pasted = format!("{before}# {stanza}\n# What wears out{after}");
    let of_service = format!(
        "station = \"KMCE\"\nbase_url = \"{}\"",
        service.url("/StnData")
    );
    std::fs::write(&file, pasted.replace("station = \"KMCE\"", &of_service)).unwrap();
    let blocks = std::fs::read_to_string(farm.join("blocks.csv")).unwrap();
    std::fs::write(
        farm.join("blocks.csv"),
        blocks.replace(",yard,", &format!(",{id},")),
    )
    .unwrap();
    let checked = printed(&["check", "--online", "--config", config]);
    assert!(checked.contains(": no errors"), "{checked}");
    assert!(
        checked.contains(&format!("station {id}: newest day ")),
        "{checked}"
    );
    let tried = printed(&["feed", "try", "--station", id, "--config", config]);
    assert!(
        tried.contains("14 days came, 14 with both temperatures\n"),
        "{tried}"
    );
    printed(&[
        "feed",
        "backfill",
        "--station",
        id,
        "--from",
        "2024-01-01",
        "--pause",
        "0",
        "--config",
        config,
    ]);
    let compared = printed(&["stations", "compare", id, id, "--config", config]);
    assert!(compared.contains("+0.0 °F"), "{compared}");
}

#[test]
fn a_service_that_fails_hides_no_other_and_is_named_in_one_line() {
    let service = Answering::start(|url| match url.path() {
        "/api/station" => Some("<html><title>Request Rejected</title></html>".to_owned()),
        _ => lists(url),
    });
    let output = near(&service, &[]);
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    let expected = "note: not all could be asked: CIMIS: the answer is not what it describes, it begins \
                    \"<html><title>Request Rejected</title></html>\"\n";
    assert_eq!(errors, expected);
    let said = text(&output);
    assert!(
        said.contains("KMCE") && !said.contains("Chowchilla"),
        "{said}"
    );
}

#[test]
fn where_the_others_have_none_the_long_list_is_asked_and_else_on_request() {
    let service = Answering::start(|url| match url.path() {
        "/StnMeta" => Some("{\"meta\":[]}".to_owned()),
        "/api/station" => Some("{\"Stations\":[]}".to_owned()),
        _ => lists(url),
    });
    let said = text(&near(&service, &[]));
    assert!(said.contains("# SOUTH OF IT: 13.8 km"), "{said}");
    assert!(
        said.contains("[station.ncei] # two to three days late\nstation = \"USC00049999\""),
        "{said}"
    );
    let service = Answering::start(lists);
    let said = text(&near(&service, &["--worldwide"]));
    assert!(said.contains("SOUTH OF IT"), "{said}");
    assert_eq!(
        said.matches("\nid = \"merced").count(),
        1,
        "one entry: {said}"
    );
    assert!(!said.contains("MERCED MUNI AP"), "{said}");
}

#[test]
fn none_near_is_said_and_is_no_answer_while_a_service_fails() {
    let service = Answering::start(|_| None);
    let output = near(&service, &[]);
    assert_eq!(output.status.code(), Some(75));
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    for name in ["ACIS: fetch", "CIMIS: fetch", "GHCN-Daily: fetch"] {
        assert!(errors.contains(name), "{name} in {errors}");
    }
    let service = Answering::start(|url| match url.path() {
        "/StnMeta" => Some("{\"meta\":[]}".to_owned()),
        "/api/station" => Some("{\"Stations\":[]}".to_owned()),
        _ => lists(url),
    });
    let said = text(&near(&service, &["--within", "5"]));
    assert!(said.starts_with("# No station within 5 km"), "{said}");
}
