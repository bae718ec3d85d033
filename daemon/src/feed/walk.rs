//! Every sample, read by the feed of its folder: the right days or a named error, in one page to look at.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use chrono_tz::Tz;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;

use super::error::ParseError;
use super::samples::sample;
use super::*;
use crate::error_chain::error_chain;

/// How many days of a sample the page lists.
const LISTED: usize = 8;

type Read = Result<FetchedDays, ParseError>;

fn days(read: Result<Vec<ReceivedDay>, ParseError>) -> Read {
    read.map(|days| FetchedDays {
        days,
        problems: Vec::new(),
    })
}

fn ncei_days(answer: &[u8], name: &str) -> Read {
    let station = match name {
        "tenths_padded.json" => "USW00094728",
        "standard.json" => "USW00014732",
        _ => "USW00093193",
    };
    ncei::parse(answer, station)
}

fn acis_days(answer: &[u8], name: &str) -> Read {
    let station = match name {
        "codes.json" => "049367 2",
        "fresno_thr.json" | "without_meta.json" => "FATthr 9",
        _ => "KLNK",
    };
    acis::parse(answer, station)
}

fn cimis_days(answer: &[u8], name: &str) -> Read {
    let station = match name {
        "station_213.json" => 213,
        "station_254.json" => 254,
        _ => 39,
    };
    cimis::parse(answer, station)
}

fn ghcn_days(answer: &[u8], name: &str) -> Read {
    let (station, form) = match name {
        "access.csv" => ("USW00093193", GhcnForm::Access),
        "by_station.csv" => ("USW00093193", GhcnForm::ByStation),
        dly => (dly.trim_end_matches(".dly"), GhcnForm::Dly),
    };
    let feed = GhcnFeed {
        station: station.to_owned(),
        form,
        base_url: None,
    };
    ghcn::parse(answer, &feed)
}

fn iem_days(answer: &[u8], name: &str) -> Read {
    let station = match name {
        "savw3.csv" => "SAVW3",
        _ => "FAT",
    };
    iem::parse(answer, station)
}

fn open_meteo_days(answer: &[u8], name: &str) -> Read {
    let (latitude, longitude, zone) = match name {
        "berlin.json" => (52.5, 13.4, Tz::Europe__Berlin),
        "archive_gmt.json" => (60.4, 5.3, Tz::UTC),
        _ => (36.8, -119.7, Tz::America__Los_Angeles),
    };
    let feed = OpenMeteoFeed {
        latitude,
        longitude,
        base_url: None,
        key_file: None,
        key: None,
        zone,
    };
    let archive = open_meteo::parse_archive(answer, &feed);
    let forecast = open_meteo::parse_forecast(answer, &feed);
    let is_read = [archive.is_ok(), forecast.is_ok()];
    assert_eq!(
        is_read[0], is_read[1],
        "both read what either reads: {name}"
    );
    archive
}

fn nws_days(answer: &[u8], name: &str) -> Read {
    let zone = Tz::America__Los_Angeles;
    match name {
        "grid_tallahassee.json" => days(nws::grid::parse(answer, Tz::America__New_York)),
        "points.json" | "grid_evening.json" => days(nws::grid::parse(answer, zone)),
        _ => {
            let station = match name {
                "day.json" => "KMCE",
                _ => "KFLL",
            };
            let page = nws::observations::parse(answer, station)?;
            let begun = page.oldest.map(|oldest| oldest.date_naive());
            let begun = begun.into_iter().flat_map(|day| day.iter_days().take(2));
            let of_day = |day| nws::observations::extremes(&page.readings, zone, day);
            days(Ok(begun.filter_map(of_day).collect()))
        }
    }
}

fn line(day: &ReceivedDay) -> String {
    let number =
        |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| value.to_string());
    let unit = match day.unit {
        Unit::Fahrenheit => "°F",
        _ => "°C",
    };
    let flag = |of: &str, flag: &Option<String>| {
        let flag = flag.as_ref();
        flag.map_or_else(String::new, |flag| format!(", {of} flagged {flag}"))
    };
    format!(
        "{} {} to {} {unit}{}{}",
        day.date,
        number(day.min),
        number(day.max),
        flag("min", &day.min_flag),
        flag("max", &day.max_flag)
    )
}

fn page_of(read: Read) -> String {
    let mut page = String::new();
    match read {
        Err(error) => writeln!(page, "  error: {}", error_chain(&error)).unwrap(),
        Ok(fetched) => {
            writeln!(page, "  {} days", fetched.days.len()).unwrap();
            for day in fetched.days.iter().take(LISTED) {
                writeln!(page, "  {}", line(day)).unwrap();
            }
            for problem in fetched.problems.iter().take(LISTED) {
                writeln!(page, "  {problem}").unwrap();
            }
        }
    }
    page
}

#[test]
fn every_sample_gives_its_days_or_a_named_error_also_when_it_breaks_off_anywhere() {
    type Reader = fn(&[u8], &str) -> Read;
    let readers: [(&str, Reader); 7] = [
        ("acis", acis_days),
        ("cimis", cimis_days),
        ("ghcn", ghcn_days),
        ("iem", iem_days),
        ("ncei", ncei_days),
        ("nws", nws_days),
        ("open-meteo", open_meteo_days),
    ];
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data/feeds");
    let mut page = String::new();
    for (folder, read) in readers {
        let files = fs::read_dir(root.join(folder)).unwrap();
        let names = files.map(|file| file.unwrap().file_name().into_string().unwrap());
        let mut names: Vec<String> = names.collect();
        names.sort();
        for name in names {
            let answer = sample(&format!("{folder}/{name}"));
            writeln!(page, "{folder}/{name}").unwrap();
            page += &page_of(read(&answer, &name));
            let step = answer.len() / 200 + 1;
            for cut in (0..answer.len()).step_by(step) {
                let _ = read(&answer[..cut], &name);
            }
        }
    }
    insta::assert_snapshot!("samples", page);
}
