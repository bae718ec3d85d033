//! A station as the lines of a configuration that declare it.

use std::fmt::Write as _;

use chrono::NaiveDate;

use super::found::{Found, Served};
use crate::one_line::one_line;

/// Past years that a configuration without a word about them asks for.
const USUAL_YEARS: i64 = 30;
/// An id has so many characters at the most.
const LONGEST_ID: usize = 40;
/// A name has so many characters at the most.
const LONGEST_NAME: usize = 100;

/// The lines that declare a station, which can be pasted as they are. `taken`: ids that are used, to which its own is
/// added.
pub fn lines(station: &Found, day: NaiveDate, taken: &mut Vec<String>) -> String {
    let name = name(&station.name);
    let id = id(&name, taken);
    let place = station.location;
    let mut text = format!(
        "[[station]]\nid = \"{id}\"\nname = {}\nlatitude = {:.4}\nlongitude = {:.4}\n",
        toml::Value::from(name),
        place.latitude,
        place.longitude
    );
    // Writing to a string cannot fail.
    if let Some(height) = place.height_m {
        let _ = writeln!(text, "height_m = {height:.0}");
    }
    let years = (day - station.first).num_days() / 365;
    if years < USUAL_YEARS {
        let _ = writeln!(text, "history_years = {}", years.max(1));
    }
    if station.lately.is_some_and(|lately| lately.morning) {
        text.push_str("day_boundary = \"morning\"\n");
    }
    text.push('\n');
    let tables = station.serves.iter().flat_map(Served::tables);
    for (place, table) in tables.enumerate() {
        let mark = if place == 0 { "" } else { "# " };
        if place == 1 {
            text.push_str("# or the same station from\n");
        }
        for line in table.lines() {
            let _ = writeln!(text, "{mark}{line}");
        }
    }
    let forecast = match station.serves.iter().any(Served::is_of_us) {
        true => {
            "National Weather Service, which wants operator in [farm]):\n# [station.forecast.nws]"
        }
        false => {
            "Open-Meteo: free for non-commercial use, CC BY 4.0):\n# [station.forecast.open_meteo]"
        }
    };
    let _ = write!(
        text,
        "# and a forecast of the next days ({forecast}\n# latitude = {:.2}\n# longitude = {:.2}\n",
        place.latitude, place.longitude
    );
    text
}

impl Served {
    /// Whether it is a station of the United States.
    fn is_of_us(&self) -> bool {
        match self {
            Self::Acis(_) | Self::Cimis(_) => true,
            Self::Ncei(id) => id.starts_with("US"),
            Self::Iem(..) => false,
        }
    }

    /// The tables that name it, the one to be taken first.
    fn tables(&self) -> Vec<String> {
        let quoted = |text: &str| toml::Value::from(text).to_string();
        match self {
            Self::Acis(id) => vec![format!("[station.acis]\nstation = {}", quoted(id))],
            Self::Cimis(number) => vec![format!(
                "[station.cimis]\nstation = {number}\nkey_file = \"cimis-key\" # a file with the key that the service gives you"
            )],
            Self::Iem(network, id) => vec![format!(
                "[station.iem]\nnetwork = {}\nstation = {}",
                quoted(network),
                quoted(id)
            )],
            Self::Ncei(id) => vec![
                format!(
                    "[station.ncei] # two to three days late\nstation = {}",
                    quoted(id)
                ),
                format!(
                    "[station.ghcn] # one to three days late, all years at once\nstation = {}",
                    quoted(id)
                ),
            ],
        }
    }
}

/// A name as people write it: lists have them in capitals.
fn name(listed: &str) -> String {
    let listed = one_line(listed);
    let capitals = !listed.chars().any(char::is_lowercase);
    let word = |word: &str| {
        let mut letters = word.chars();
        let first = letters.next().into_iter();
        first.chain(letters.flat_map(char::to_lowercase)).collect()
    };
    let words = listed.split_whitespace();
    let words: Vec<String> = words
        .map(|text| {
            if capitals {
                word(text)
            } else {
                text.to_owned()
            }
        })
        .collect();
    let name: String = words.join(" ").chars().take(LONGEST_NAME).collect();
    if name.is_empty() {
        "Station".to_owned()
    } else {
        name
    }
}

/// An id of its own, made of the name.
fn id(name: &str, taken: &mut Vec<String>) -> String {
    let plain = name.to_lowercase();
    let words = plain.split(|c: char| !c.is_ascii_alphanumeric());
    let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
    // Room for a number behind it.
    let stem: String = words.join("-").chars().take(LONGEST_ID - 4).collect();
    let stem = match stem.trim_end_matches('-') {
        "" => "station",
        stem => stem,
    };
    let numbered = (2..).map(|number| format!("{stem}-{number}"));
    let mut ids = std::iter::once(stem.to_owned()).chain(numbered);
    let free = ids.find(|id| !taken.contains(id));
    let id = free.unwrap_or_else(|| stem.to_owned());
    taken.push(id.clone());
    id
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nearby::found::Lately;
    use crate::nearby::tests::station;

    fn day() -> NaiveDate {
        "2026-11-29".parse().unwrap()
    }

    #[test]
    fn the_lines_have_what_is_known_and_the_other_feeds_beside() {
        let serves = [
            Served::Acis("045532 2".to_owned()),
            Served::Ncei("USC00045532".to_owned()),
        ];
        let found = Found {
            lately: Some(Lately {
                share: 0.9,
                morning: true,
            }),
            first: "2006-11-29".parse().unwrap(),
            ..station("MERCED 23 WSW \"X\"", 0.1, &serves)
        };
        let mut taken = vec!["merced-23-wsw-x".to_owned()];
        insta::assert_snapshot!(lines(&found, day(), &mut taken), @r##"
        [[station]]
        id = "merced-23-wsw-x-2"
        name = 'Merced 23 Wsw "x"'
        latitude = 37.2200
        longitude = -120.2600
        height_m = 73
        history_years = 20
        day_boundary = "morning"

        [station.acis]
        station = "045532 2"
        # or the same station from
        # [station.ncei] # two to three days late
        # station = "USC00045532"
        # [station.ghcn] # one to three days late, all years at once
        # station = "USC00045532"
        # and a forecast of the next days (National Weather Service, which wants operator in [farm]):
        # [station.forecast.nws]
        # latitude = 37.22
        # longitude = -120.26
        "##);
        assert_eq!(taken.len(), 2);
    }

    #[test]
    fn whatever_a_list_says_the_lines_are_toml_with_an_id_of_its_own() {
        let mut taken = Vec::new();
        for name in [
            "",
            "\u{7}\n\"'",
            "Ñ",
            &"LONG NAME ".repeat(40),
            "a",
            "a",
            "A",
        ] {
            let serves = [Served::Cimis(39)];
            let text = lines(&station(name, 0.1, &serves), day(), &mut taken);
            let table: toml::Table = toml::from_str(&text).unwrap();
            let one = table["station"][0].as_table().unwrap();
            assert!(duskflight_core::id::StationId::new(one["id"].as_str().unwrap()).is_ok());
            let name = one["name"].as_str().unwrap();
            assert!(!name.is_empty() && name.chars().count() <= LONGEST_NAME);
        }
        assert_eq!(taken[4..], ["a", "a-2", "a-3"]);
    }
}
