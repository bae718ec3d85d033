//! A station of which only a model knows: its days count, are never called measured, and its terms are said.

use chrono::NaiveDate;
use serde_json::json;

use crate::answering::Answering;
use crate::harness::{Farm, VISITS, printed, table};

/// An archive in the shape of Open-Meteo's that has the days of the table.
fn archive() -> Answering {
    Answering::start(|url| {
        let asked = |wanted: &str| -> Option<String> {
            let (_, value) = url.query_pairs().find(|(name, _)| name == wanted)?;
            Some(value.into_owned())
        };
        let from: NaiveDate = asked("start_date")?.parse().ok()?;
        let to: NaiveDate = asked("end_date")?.parse().ok()?;
        let all = table("2022-04-30");
        let rows = all.lines().skip(1).map(|row| row.split(',').collect());
        let of_days = |cells: &Vec<&str>| (from..=to).contains(&cells[0].parse().unwrap());
        let rows: Vec<Vec<&str>> = rows.filter(of_days).collect();
        let column = |place: usize| -> Vec<Option<f64>> {
            rows.iter().map(|cells| cells[place].parse().ok()).collect()
        };
        let days: Vec<&str> = rows.iter().map(|cells| cells[0]).collect();
        let answer = json!({
            "latitude": 36.75, "longitude": -119.75, "timezone": asked("timezone")?,
            "daily_units": {"temperature_2m_max": "°F", "temperature_2m_min": "°F"},
            "daily": {"time": days, "temperature_2m_min": column(1), "temperature_2m_max": column(2)},
        });
        Some(answer.to_string())
    })
}

fn farm_at(base_url: &str) -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.has_feed(&format!(
        "[station.open_meteo]\nlatitude = 36.8\nlongitude = -119.9\n{base_url}\n"
    ));
    farm
}

fn shown(farm: &Farm, command: &[&str]) -> String {
    let more = ["--config", farm.config(), "--as-of", "2022-04-28"];
    printed(&[command, &more].concat())
}

#[test]
fn a_models_values_count_and_are_never_called_measured() {
    let archive = archive();
    let farm = farm_at(&format!("base_url = \"{}\"", archive.url("/archive")));
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-28");
    let zone = ("timezone".into(), "America/Los_Angeles".into());
    assert!(archive.asked()[0].query_pairs().any(|pair| pair == zone));
    let explained = shown(&farm, &["explain", "--block", "home"]);
    assert!(
        explained.contains("station yard (model values), "),
        "{explained}"
    );
    assert!(explained.contains("modelled"), "{explained}");
    let status = printed(&["status", "--config", farm.config()]);
    assert!(
        status.contains("station Yard logger (model values)"),
        "{status}"
    );
    let season = shown(&farm, &["season", "--block", "home"]);
    assert!(season.contains("station yard (model values), "), "{season}");
    let digest = farm.digest("2022-04-28");
    for text in [explained, status, season, digest] {
        assert!(!text.contains("measured"), "{text}");
    }
}

#[test]
fn the_terms_of_a_free_service_are_said_until_there_is_a_key_or_a_host_of_ones_own() {
    let terms = "free for non-commercial use, with attribution (CC BY 4.0)";
    let is_said = |base_url: &str| {
        let farm = farm_at(base_url);
        let said = shown(&farm, &["check"]);
        assert!(
            said.contains("station yard: its temperatures are a model's"),
            "{said}"
        );
        said.contains(terms)
    };
    assert!(is_said(""));
    assert!(!is_said(
        "base_url = \"https://models.farm.example/v1/archive\""
    ));
    let farm = farm_at("key_file = \"key\"");
    farm.write("key", "hunter-2\n");
    let said = shown(&farm, &["check"]);
    assert!(!said.contains(terms) && !said.contains("hunter"), "{said}");
    assert!(
        said.contains("open_meteo.key_file = key: everybody on this machine can read it"),
        "{said}"
    );
}
