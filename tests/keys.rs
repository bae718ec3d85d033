//! Keys and passwords of feeds, forecasts, proxy and watcher stand nowhere but where they were given.

use std::fs;

use crate::answering::Answering;
use crate::harness::{Farm, VISITS, duskflight};

/// Each in its own place; a part of each is enough to find it.
const KEYS: [&str; 4] = [
    "c1m15-key-0a9b8c7d6e",
    "m0d3l-key-1f2e3d4c5b",
    "pr0xy-password-77",
    "w4tch-0123456789abcdef",
];

/// A service that repeats what it was sent in everything it says.
fn repeating() -> Answering {
    Answering::start(|url| {
        let sent = url.query().unwrap_or_default().to_owned();
        match url.path() {
            "/cimis" => Some(format!("ERR1006: INVALID APP KEY: {sent}")),
            "/model" => Some(format!(
                "{{\"error\": true, \"reason\": \"no such key: {sent}\"}}"
            )),
            "/page" => Some(format!("<html>{sent}</html>")),
            _ => None,
        }
    })
}

/// A farm with keys of every kind, whose services are found at `service`.
fn farm(service: &Answering, proxy: &str) -> Farm {
    let farm = Farm::new("2022-04-15");
    farm.write("cimis-key", &format!("{}\n", KEYS[0]));
    farm.write("model-key", &format!("{}\n", KEYS[1]));
    let station = |id: &str, path: &str| {
        format!(
            "[[station]]\nid = \"{id}\"\nname = \"Station {id}\"\nhistory_years = 1\n[station.cimis]\nstation = 80\n\
             key_file = \"cimis-key\"\nbase_url = \"{}\"\n[station.forecast.open_meteo]\nlatitude = 36.8\nlongitude = -119.9\n\
             key_file = \"model-key\"\nbase_url = \"{}\"\n\n",
            service.url(path),
            service.url("/model")
        )
    };
    let stations = station("words", "/cimis") + &station("page", "/page");
    farm.change("[[station]]", &format!("{stations}[[station]]"));
    let heartbeat = format!(
        "[telling]\nheartbeat = \"https://watch.example/{}\"\n\n{proxy}[mail]",
        KEYS[3]
    );
    farm.change("[mail]", &heartbeat);
    farm.import("round.csv", VISITS);
    farm
}

/// Everything the program says of a farm at the highest level, and all that it leaves beside the files that hold the keys.
fn all_that_is_said(farm: &Farm) -> String {
    let mut said = String::new();
    for command in [
        "check",
        "check --online",
        "nightly --as-of 2022-04-16",
        "nightly --as-of 2022-04-17",
        "status",
        "doctor",
        "feed list",
        "feed aside",
        "feed try --station words",
        "feed try --station page",
        "feed backfill --station words --from 2022-01-01 --to 2022-02-01",
        "feed backfill --station words --from 2022-01-01 --to 2022-02-01 --dry-run",
        "explain --block home --as-of 2022-04-17",
        "preview --as-of 2022-04-18",
        "check-no-such-command",
    ] {
        let output = duskflight()
            .args(command.split_whitespace())
            .args(["--config", farm.config()])
            .env("DUSKFLIGHT_LOG", "trace")
            .output()
            .unwrap();
        said.push_str(&String::from_utf8_lossy(&output.stdout));
        said.push_str(&String::from_utf8_lossy(&output.stderr));
    }
    let mut folders = vec![farm.path("")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            match path.is_dir() {
                true => folders.push(path),
                false if name.ends_with("-key") || name == "duskflight.toml" => {}
                false => said.push_str(&String::from_utf8_lossy(&fs::read(path).unwrap())),
            }
        }
    }
    said
}

#[test]
fn no_key_is_shown_in_logs_at_any_level_errors_status_mails_or_the_database() {
    let service = repeating();
    let asked_by_proxy = format!(
        "[network]\nproxy = \"http://office:{}@127.0.0.1:9\"\n\n",
        KEYS[2]
    );
    for proxy in ["", &asked_by_proxy] {
        let farm = farm(&service, proxy);
        let said = all_that_is_said(&farm);
        for key in KEYS {
            let parts = [key, &key[..12]];
            for part in parts {
                let place = said.find(part);
                let around = place.map(|at| {
                    said[at.saturating_sub(300)..]
                        .chars()
                        .take(500)
                        .collect::<String>()
                });
                assert_eq!(around, None, "{part}");
            }
        }
    }
    // The services were asked, with the keys.
    let queries: Vec<String> = service.asked().iter().map(ToString::to_string).collect();
    for key in &KEYS[..2] {
        assert!(queries.iter().any(|query| query.contains(key)), "{key}");
    }
}
