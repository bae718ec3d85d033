//! One season, written as each feed writes it and read back: the same degree-days, within the feed's rounding.

use std::f64::consts::PI;
use std::fmt::Write as _;

use chrono::{Datelike, NaiveDate, TimeDelta};
use chrono_tz::Tz;
use duskflight_core::heat::{Cutoff, HeatModel, Method, Thresholds};
use duskflight_core::season::StationHeat;
use duskflight_core::temperature::{Temperature, Unit};
use duskflight_core::weather::{ReceivedDay, StationWeather};
use serde_json::{Value, json};

use super::samples;
use super::*;

const ZONE: Tz = Tz::America__Los_Angeles;
const GHCN: &str = "USW00023257";

/// A day, its minimum and its maximum, °C.
type Day = (NaiveDate, f64, f64);

/// Merced from March to September 2022, as the demo has it.
fn season() -> Vec<Day> {
    let rows = include_str!("../demo/merced.csv").lines();
    let rows = rows.filter(|row| ("2022-03".."2022-10").contains(row));
    let day = |row: &str| {
        let cells: Vec<&str> = row.split(',').collect();
        let number = |place: usize| cells[place].parse().unwrap();
        (cells[0].parse().unwrap(), number(1), number(2))
    };
    rows.map(day).collect()
}

fn fahrenheit(celsius: f64) -> f64 {
    celsius * 1.8 + 32.0
}

fn degree_days(days: &[ReceivedDay]) -> f64 {
    let limit = |fahrenheit| Temperature::new(fahrenheit, Unit::Fahrenheit).unwrap();
    let thresholds = Thresholds::new(limit(55.0), limit(94.0)).unwrap();
    let model = HeatModel::new(thresholds, Method::SingleSine, Cutoff::Vertical).unwrap();
    let (first, last) = (days[0].date, days[days.len() - 1].date);
    let as_of = last.succ_opt().unwrap();
    let weather = StationWeather::alone("merced".parse().unwrap(), days, as_of);
    let heat = StationHeat::new(&weather, model);
    let sum = heat.heat().unwrap().sum(first, last).unwrap();
    assert_eq!(sum.estimated_days, 0);
    sum.degree_days.in_unit(Unit::Fahrenheit)
}

/// Whole rows of the season, put together by what stands between two of them.
fn rows(season: &[Day], between: &str, row: impl Fn(&Day) -> String) -> String {
    let rows: Vec<String> = season.iter().map(row).collect();
    rows.join(between)
}

fn ncei_answer(season: &[Day]) -> String {
    let row = |(date, min, max): &Day| {
        json!({"STATION": GHCN, "DATE": date.to_string(), "TMIN": format!("{min:>6.1}"), "TMAX": format!("{max:>6.1}")})
            .to_string()
    };
    format!("[{}]", rows(season, ",", row))
}

fn acis_answer(season: &[Day]) -> String {
    let text = |celsius: f64| format!("{:.0}", fahrenheit(celsius));
    let row =
        |(date, min, max): &Day| json!([date.to_string(), text(*max), text(*min)]).to_string();
    format!(r#"{{"data":[{}]}}"#, rows(season, ",", row))
}

fn cimis_answer(season: &[Day]) -> String {
    let item = |celsius: f64| json!({"Value": format!("{:.1}", fahrenheit(celsius)), "Qc": " ", "Unit": "(F)"});
    let row = |(date, min, max): &Day| {
        json!({"Date": date.to_string(), "Station": "39", "DayAirTmpMax": item(*max), "DayAirTmpMin": item(*min)}).to_string()
    };
    let records = rows(season, ",", row);
    format!(r#"{{"Data":{{"Providers":[{{"Records":[{records}]}}]}}}}"#)
}

fn tenths(celsius: f64) -> i64 {
    (celsius * 10.0).round() as i64
}

fn by_station_file(season: &[Day]) -> String {
    rows(season, "\n", |(date, min, max)| {
        let date = date.format("%Y%m%d");
        let (min, max) = (tenths(*min), tenths(*max));
        format!("{GHCN},{date},TMIN,{min},,,W,\n{GHCN},{date},TMAX,{max},,,W,")
    })
}

fn access_file(season: &[Day]) -> String {
    let header = "STATION,DATE,NAME,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n";
    let rows = rows(season, "\n", |(date, min, max)| {
        let (min, max) = (tenths(*min), tenths(*max));
        format!("\"{GHCN}\",\"{date}\",\"MERCED, CA US\",\"{max:>5}\",\",,W\",\"{min:>5}\",\",,W\"")
    });
    format!("{header}{rows}")
}

fn dly_file(season: &[Day]) -> String {
    let mut file = String::new();
    for month in season.chunk_by(|one, next| one.0.month() == next.0.month()) {
        for element in ["TMAX", "TMIN"] {
            let mut line = format!("{GHCN}{}{element}", month[0].0.format("%Y%m"));
            for day in 1..=31 {
                let of_day = month.iter().find(|(date, ..)| date.day() == day);
                let value = of_day.map(|(_, min, max)| if element == "TMAX" { max } else { min });
                let value = value.map_or(-9999, |value| tenths(*value));
                write!(line, "{value:>5}  W").unwrap();
            }
            file += &(line + "\n");
        }
    }
    file
}

fn iem_answer(season: &[Day]) -> String {
    let rows = rows(season, "\n", |(date, min, max)| {
        format!("MCE,{date},{:.1},{:.1}", fahrenheit(*max), fahrenheit(*min))
    });
    format!("station,day,max_temp_f,min_temp_f\n{rows}\n")
}

fn open_meteo_answer(season: &[Day]) -> String {
    let of = |value: fn(&Day) -> Value| season.iter().map(value).collect::<Vec<Value>>();
    json!({
        "daily_units": {"temperature_2m_max": "°F", "temperature_2m_min": "°F"},
        "daily": {
            "time": of(|day| json!(day.0.to_string())),
            "temperature_2m_min": of(|day| json!((fahrenheit(day.1) * 10.0).round() / 10.0)),
            "temperature_2m_max": of(|day| json!((fahrenheit(day.2) * 10.0).round() / 10.0)),
        },
    })
    .to_string()
}

/// What an airport reports of a day: each hour, the least at five in the morning and the most at three.
fn reports(day: &Day) -> String {
    let (date, min, max) = *day;
    let start = date.and_hms_opt(8, 0, 0).unwrap().and_utc();
    let report = |hour: i64| {
        let phase = match hour {
            5..=15 => (hour - 5) as f64 / 10.0,
            before if before < 5 => (5 - before) as f64 / 14.0,
            after => 1.0 - (after - 15) as f64 / 14.0,
        };
        let celsius = min + (max - min) * (1.0 - (PI * phase).cos()) / 2.0;
        let at = start + TimeDelta::hours(hour) + TimeDelta::minutes(53);
        json!({"properties": {"timestamp": at.to_rfc3339(), "temperature":
            {"unitCode": "wmoUnit:degC", "value": (celsius * 10.0).round() / 10.0, "qualityControl": "V"}}})
    };
    let features: Vec<Value> = (0..26).rev().map(report).collect();
    json!({"features": features}).to_string()
}

fn nws_days(season: &[Day]) -> Vec<ReceivedDay> {
    let day = |day: &Day| {
        let page = nws::observations::parse(reports(day).as_bytes(), "KMCE").unwrap();
        nws::observations::extremes(&page.readings, ZONE, day.0).unwrap()
    };
    season.iter().map(day).collect()
}

fn table_of(season: &[Day]) -> String {
    let rows = rows(season, "\n", |(date, min, max)| {
        format!("{};{min:.1};{max:.1}", date.format("%d.%m.%Y")).replace('.', ",")
    });
    format!("day;low;high\n{rows}\n")
}

#[test]
fn a_season_gives_the_same_degree_days_whichever_feed_it_comes_through() {
    let season = season();
    assert_eq!(season.len(), 214);
    let received = season.iter().map(|(date, min, max)| {
        samples::day(&date.to_string(), Some(*min), Some(*max), Unit::Celsius)
    });
    let known = degree_days(&received.collect::<Vec<_>>());
    assert!(known > 2500.0, "{known}");
    // By how many °F a value may be rounded; a sum is off by that a day at the most.
    let check = |feed: &str, days: Vec<ReceivedDay>, rounding_f: f64| {
        assert_eq!(days.len(), season.len(), "{feed}");
        let off = (degree_days(&days) - known).abs();
        let most = rounding_f * season.len() as f64;
        assert!(off <= most, "{feed}: {off} of {known}, {most} at the most");
    };
    let ghcn = |file: String, form: &str| {
        let feed = toml::from_str(&format!("station = '{GHCN}'\nform = '{form}'")).unwrap();
        ghcn::parse(file.as_bytes(), &feed).unwrap().days
    };
    check(
        "ncei",
        ncei::parse(ncei_answer(&season).as_bytes(), GHCN)
            .unwrap()
            .days,
        1e-9,
    );
    check(
        "ghcn by station",
        ghcn(by_station_file(&season), "by-station"),
        1e-9,
    );
    check("ghcn dly", ghcn(dly_file(&season), "dly"), 1e-9);
    check("ghcn access", ghcn(access_file(&season), "access"), 1e-9);
    check("nws", nws_days(&season), 1e-9);
    check(
        "acis",
        acis::parse(acis_answer(&season).as_bytes(), "KMCE")
            .unwrap()
            .days,
        0.5,
    );
    check(
        "cimis",
        cimis::parse(cimis_answer(&season).as_bytes(), 39)
            .unwrap()
            .days,
        0.05,
    );
    check(
        "iem",
        iem::parse(iem_answer(&season).as_bytes(), "MCE")
            .unwrap()
            .days,
        0.05,
    );
    let place = toml::from_str("latitude = 37.28\nlongitude = -120.51").unwrap();
    let archive = open_meteo::parse_archive(open_meteo_answer(&season).as_bytes(), &place);
    check("open-meteo", archive.unwrap().days, 0.05);
    let table = toml::from_str(
        "source = 'x.csv'\ndate_column = 'day'\nmin_column = 'low'\nmax_column = 'high'\nunit = 'c'\n\
         date_format = '%d,%m,%Y'\ndelimiter = ';'\ndecimal_comma = true",
    );
    let days = table::parse(table_of(&season).as_bytes(), &table.unwrap());
    check("table", days.unwrap().days, 1e-9);
}
