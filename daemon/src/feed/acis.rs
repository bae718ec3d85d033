//! The Applied Climate Information System of the US Regional Climate Centers (StnData): no key, days of the station's
//! own observing day, airports mostly by the next morning.

use chrono::NaiveDate;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use serde::{Deserialize, Deserializer};
use serde_json::json;

use super::cell::{CellFormat, MissingMarkers, iso_date};
use super::declaration::{Declaration, Needs, Past, Values};
use super::error::{ParseError, data_of};
use super::excerpt::Excerpt;
use super::rows::{FetchedDays, Gathered};
use super::url::HttpUrl;

pub(super) const DECLARED: Declaration = Declaration {
    table: "station.acis",
    name: "acis-stndata",
    service: "ACIS (US Regional Climate Centers), by an id such as KFAT",
    values: Values::Observed,
    unit: "°F",
    day: "the station's own: airports and threaded records from local standard midnight, cooperative observers from their reading",
    latency: "airports by the next morning, others as observers report; replaced by checked values for weeks",
    flags: "missing (M), part of a later day (S) and over several days (A) is no number; it marks no others",
    needs: Needs::Nothing,
    past: Past::AsAsked,
};
const SERVICE: &str = "https://data.rcc-acis.org/StnData";
/// Missing, and a part of a later day's value: neither says what this day had. A number with a letter behind it, such as
/// one over several days (`101A`), is no number, so it counts as missing with a remark.
const MISSING: [&str; 3] = ["M", "S", ""];

/// One station of the service.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AcisFeed {
    /// The station's id, with the number of its kind where another kind has the same: `KFAT`, `93193 1`.
    #[serde(deserialize_with = "station_id")]
    pub station: String,
    /// The service's address.
    #[serde(default = "service")]
    pub base_url: HttpUrl,
}

impl AcisFeed {
    /// The address of the days `from..=to`, each with maximum and minimum in °F.
    #[must_use]
    pub fn url(&self, from: NaiveDate, to: NaiveDate) -> HttpUrl {
        let params = json!({
            "sid": self.station,
            "sdate": from.to_string(),
            "edate": to.to_string(),
            "elems": "maxt,mint",
            "meta": "sids",
        });
        self.base_url
            .with_query([("params", params.to_string().as_str())])
    }
}

#[derive(Debug, Deserialize)]
struct Answer {
    /// What it says of the station; some kinds have none.
    #[serde(default)]
    meta: Meta,
    /// A day, its maximum and its minimum.
    data: Vec<(String, String, String)>,
}

#[derive(Debug, Default, Deserialize)]
struct Meta {
    /// Its ids, each with the number of its kind.
    #[serde(default)]
    sids: Vec<String>,
}

/// The service's own error, under a status of success.
#[derive(Debug, Deserialize)]
struct ServiceError {
    error: String,
}

/// Reads the service's answer about `station`. That there is no data is no error: a past year may be older than it.
///
/// # Errors
/// [`ParseError`] when the answer is empty, a web page, the service's own error, of another station, or not rows of a
/// day, a maximum and a minimum.
pub fn parse(answer: &[u8], station: &str) -> Result<FetchedDays, ParseError> {
    let format = CellFormat {
        missing: MissingMarkers::new(&MISSING),
        decimal_comma: false,
    };
    let Some(answer) = answer_of(answer)? else {
        return Ok(FetchedDays::default());
    };
    is_of(station, &answer.meta.sids)?;
    let mut gathered = Gathered::default();
    for (row, number) in answer.data.iter().zip(1..) {
        gather(&mut gathered, &format, number, row)?;
    }
    Ok(gathered.finish())
}

/// The answer, unless it is that there is none.
fn answer_of(answer: &[u8]) -> Result<Option<Answer>, ParseError> {
    let data = data_of(answer)?;
    let source = match serde_json::from_slice(data) {
        Ok(answer) => return Ok(Some(answer)),
        Err(source) => source,
    };
    match serde_json::from_slice::<ServiceError>(data) {
        Ok(none) if none.error.to_lowercase().contains("no data") => Ok(None),
        Ok(refused) => Err(ParseError::Refused {
            message: Excerpt::of_answer(refused.error.as_bytes()),
        }),
        Err(_) => Err(ParseError::not_days(data, source)),
    }
}

/// An answer that names its station's ids must name the one that was asked for.
fn is_of(station: &str, ids: &[String]) -> Result<(), ParseError> {
    let is_it = |id: &&String| {
        let bare = id.split_whitespace().next().unwrap_or_default();
        id.eq_ignore_ascii_case(station) || bare.eq_ignore_ascii_case(station)
    };
    if ids.is_empty() || ids.iter().any(|id| is_it(&id)) {
        return Ok(());
    }
    Err(ParseError::OtherStation {
        expected: station.to_owned(),
        found: ids.iter().map(|id| Excerpt::of_cell(id)).collect(),
    })
}

fn gather(
    gathered: &mut Gathered,
    format: &CellFormat,
    number: u64,
    (date, max, min): &(String, String, String),
) -> Result<(), ParseError> {
    let date = match iso_date("date", date) {
        Ok(date) => date,
        Err(fault) => return gathered.problem(number, None, fault),
    };
    let mut value = |column, text: &str| gathered.value(number, date, format.read(column, text));
    let day = ReceivedDay {
        min: value("mint", min)?,
        max: value("maxt", max)?,
        ..ReceivedDay::empty(date, Unit::Fahrenheit)
    };
    gathered.day(number, day)
}

fn service() -> HttpUrl {
    HttpUrl::new(SERVICE).expect("the service's address is a constant that a test reads")
}

/// One blank parts an id from the number of its kind.
fn station_id<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    let given = String::deserialize(deserializer)?;
    let words: Vec<&str> = given.split_whitespace().collect();
    let is_plain = |word: &str| word.bytes().all(|byte| byte.is_ascii_alphanumeric());
    let well_formed = match words.as_slice() {
        [id] => is_plain(id),
        [id, kind] => is_plain(id) && kind.bytes().all(|byte| byte.is_ascii_digit()),
        _ => false,
    };
    match well_formed {
        true => Ok(words.join(" ")),
        false => Err(serde::de::Error::custom(format!(
            "the station {given:?} must be an id of letters and digits, such as KFAT, with the number of its kind \
             where it has one, such as \"93193 1\""
        ))),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::feed::samples::{self, sample};

    fn day(date: &str, min: Option<f64>, max: Option<f64>) -> ReceivedDay {
        samples::day(date, min, max, Unit::Fahrenheit)
    }

    #[test]
    fn the_request_names_station_days_and_elements() {
        let feed: AcisFeed = toml::from_str("station = ' KFAT '").unwrap();
        let url = feed.url("2024-07-01".parse().unwrap(), "2024-07-09".parse().unwrap());
        let url = url.whole();
        let (name, params) = url.query_pairs().next().unwrap();
        assert_eq!((url.path(), &*name), ("/StnData", "params"));
        let params: serde_json::Value = serde_json::from_str(&params).unwrap();
        let expected = json!({"sid": "KFAT", "sdate": "2024-07-01", "edate": "2024-07-09", "elems": "maxt,mint",
            "meta": "sids"});
        assert_eq!(params, expected);
    }

    #[test]
    fn the_configuration_is_checked() {
        for wrong in ["", "KFAT 1 2", "93193 W", "KFAT,KMCE"] {
            let error = toml::from_str::<AcisFeed>(&format!("station = '{wrong}'")).unwrap_err();
            assert!(error.to_string().contains("letters and digits"), "{error}");
        }
        let feed: AcisFeed = toml::from_str("station = '93193  1'").unwrap();
        assert_eq!(feed.station, "93193 1");
    }

    #[test]
    fn the_days_of_real_answers_are_read() {
        let real = parse(&sample("acis/klnk.json"), "KLNK").unwrap();
        assert_eq!(real.days, [day("2000-01-01", Some(26.0), Some(37.5))]);
        let without = parse(&sample("acis/without_meta.json"), "FATthr 9").unwrap();
        let expected = [
            day("2026-08-20", Some(72.0), Some(104.0)),
            day("2026-08-21", None, None),
        ];
        assert_eq!(without.days, expected);
    }

    #[test]
    fn what_is_missing_or_over_several_days_is_no_number_and_hides_no_other() {
        let answer =
            br#"{"data":[["2024-06-02","M","M"],["2024-06-03","S","58"],["2024-06-04","101A","60"],
            ["2024-06-05","98.0"," 64 "],["06/06/2024","98","64"]]}"#;
        let fetched = parse(answer, "049367 2").unwrap();
        let expected = [
            day("2024-06-02", None, None),
            day("2024-06-03", Some(58.0), None),
            day("2024-06-04", Some(60.0), None),
            day("2024-06-05", Some(64.0), Some(98.0)),
        ];
        assert_eq!(fetched.days, expected);
        let problems: Vec<String> = fetched.problems.iter().map(ToString::to_string).collect();
        assert_eq!(
            problems,
            [
                "row 3 (2024-06-04): \"101A\" in column \"maxt\" is not a temperature; counted as missing",
                "row 5: \"06/06/2024\" in column \"date\" is not a date of the form \"%Y-%m-%d\"; row not used",
            ]
        );
    }

    #[test]
    fn an_answer_of_another_station_is_refused_whole() {
        for station in ["KLNK", "lnk", "254795 2", "USW00014939"] {
            assert!(
                parse(&sample("acis/klnk.json"), station).is_ok(),
                "{station}"
            );
        }
        for station in ["KFAT", "254795 1", "LN"] {
            let error = parse(&sample("acis/klnk.json"), station).unwrap_err();
            let words = error.to_string();
            assert!(words.contains("another station"), "{words}");
            assert!(words.contains("KLNK 5"), "{words}");
        }
    }

    #[test]
    fn an_answer_that_is_no_rows_of_days_says_what_it_is() {
        let check = |answer: &[u8], part: &str| {
            let error = parse(answer, "KFAT").unwrap_err().to_string();
            assert!(error.contains(part), "{error}");
        };
        check(b"", "empty");
        check(b"<html>down</html>", "a web page");
        check(
            br#"{"error":"unknown sid"}"#,
            "the service answered with an error: \"unknown sid\"",
        );
        let none = parse(&sample("acis/error.json"), "KFAT").unwrap();
        assert_eq!(none, FetchedDays::default());
        // Values with what was added to them, and elements that were not asked for.
        check(&sample("acis/codes.json"), "not a list of station days");
        check(
            &sample("acis/fresno_thr.json"),
            "not a list of station days",
        );
        check(b"[]", "not a list of station days");
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(answer in prop::collection::vec(any::<u8>(), 0..300)) {
            let _ = parse(&answer, "KLNK");
        }

        #[test]
        fn no_change_of_one_byte_makes_it_panic_or_gives_a_number_that_is_none(
            place in 0..500_usize, byte in any::<u8>()
        ) {
            let mut answer = sample("acis/klnk.json");
            let place = place % answer.len();
            answer[place] = byte;
            if let Ok(fetched) = parse(&answer, "KLNK") {
                let values = fetched.days.iter().flat_map(|d| [d.min, d.max]).flatten();
                prop_assert!(values.into_iter().all(f64::is_finite));
            }
        }
    }
}
