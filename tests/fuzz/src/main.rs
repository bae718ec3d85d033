//! Bytes of all kinds for each parser of a feed, and for the readers of answers and of messages; `DUSKFLIGHT_FUZZ` names which.
//!
//! Whatever comes, none panics, each value is a number, and each day stands once, in order. No answer says a count
//! that is not in its text.
#![no_main]

mod answer;
mod message;

use std::sync::LazyLock;

use chrono_tz::Tz;
use duskflight::feed::{
    GhcnFeed, HttpUrl, OpenMeteoFeed, TableFeed, acis, cimis, ghcn, iem, ncei, nws, open_meteo,
    table,
};
use duskflight_core::weather::ReceivedDay;
use libfuzzer_sys::fuzz_target;

/// Reads an answer into days, where it is one.
type Parser = Box<dyn Fn(&[u8]) -> Option<Vec<ReceivedDay>> + Send + Sync>;

static PARSER: LazyLock<Parser> = LazyLock::new(|| {
    let name = std::env::var("DUSKFLIGHT_FUZZ").unwrap_or_default();
    named(&name).unwrap_or_else(|| panic!("DUSKFLIGHT_FUZZ={name:?} names no parser"))
});

fuzz_target!(|answer: &[u8]| {
    let days = PARSER(answer).unwrap_or_default();
    let values = days.iter().flat_map(|day| [day.min, day.max]).flatten();
    assert!(values.into_iter().all(f64::is_finite), "{days:?}");
    assert!(days.is_sorted_by(|a, b| a.date < b.date), "{days:?}");
});

fn named(name: &str) -> Option<Parser> {
    Some(match name {
        "ncei" => Box::new(|answer| Some(ncei::parse(answer, "USW00093193").ok()?.days)),
        "acis" => Box::new(|answer| Some(acis::parse(answer, "KLNK").ok()?.days)),
        "cimis" => Box::new(|answer| Some(cimis::parse(answer, 39).ok()?.days)),
        "ghcn-dly" => ghcn_form("USC00305816", "dly"),
        "ghcn-by-station" => ghcn_form("USW00093193", "by-station"),
        "ghcn-access" => ghcn_form("USW00093193", "access"),
        "iem" => Box::new(|answer| Some(iem::parse(answer, "FAT").ok()?.days)),
        "nws" => Box::new(observations),
        "nws-points" => Box::new(points),
        "nws-grid" => Box::new(|answer| nws::grid::parse(answer, Tz::America__Los_Angeles).ok()),
        "open-meteo-archive" => {
            let feed = place();
            Box::new(move |answer| Some(open_meteo::parse_archive(answer, &feed).ok()?.days))
        }
        "open-meteo-forecast" => {
            let feed = place();
            Box::new(move |answer| open_meteo::parse_forecast(answer, &feed).ok())
        }
        "table" => {
            let feed = logger();
            Box::new(move |answer| Some(table::parse(answer, &feed).ok()?.days))
        }
        "answer" => {
            let form = answer::form();
            Box::new(move |text| {
                answer::check(text, &form);
                None
            })
        }
        "message" => {
            let form = answer::form();
            Box::new(move |bytes| {
                message::read(bytes, &form);
                None
            })
        }
        _ => return None,
    })
}

fn ghcn_form(station: &str, form: &str) -> Parser {
    let text = format!("station = '{station}'\nform = '{form}'");
    let feed: GhcnFeed = toml::from_str(&text).expect("a feed as declared");
    Box::new(move |answer| Some(ghcn::parse(answer, &feed).ok()?.days))
}

/// The extremes of the day on which the oldest report was made, and of the next.
fn observations(answer: &[u8]) -> Option<Vec<ReceivedDay>> {
    let page = nws::observations::parse(answer, "KMCE").ok()?;
    let days = page.oldest?.date_naive().iter_days().take(2);
    let of = |day| nws::observations::extremes(&page.readings, Tz::America__Los_Angeles, day);
    Some(days.filter_map(of).collect())
}

fn points(answer: &[u8]) -> Option<Vec<ReceivedDay>> {
    let asked = HttpUrl::new("https://api.weather.gov/points/30,-85").ok()?;
    let cell = nws::grid::parse_points(answer, &asked).ok()?;
    assert_eq!(cell.host(), asked.host());
    None
}

fn place() -> OpenMeteoFeed {
    let text = "latitude = 36.8\nlongitude = -119.7";
    let feed = toml::from_str(text).expect("a feed as declared");
    OpenMeteoFeed {
        zone: Tz::America__Los_Angeles,
        ..feed
    }
}

fn logger() -> TableFeed {
    let text = "source = 'logger.csv'\ndate_column = 'Date'\nmin_column = 'Air min'\n\
                max_column = 'Air max'\nunit = 'c'\ndate_format = '%m/%d/%Y %H:%M'";
    toml::from_str(text).expect("a feed as declared")
}
