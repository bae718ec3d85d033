//! The California Irrigation Management Information System (CIMIS Web API, California Department of Water Resources):
//! stations over irrigated grass, with a key of one's own, days from midnight to midnight of Pacific Standard Time.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use chrono::NaiveDate;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use serde::de::{Error as _, IgnoredAny};
use serde::{Deserialize, Deserializer};

use super::cell::{CellFormat, MissingMarkers, iso_date};
use super::declaration::{Declaration, Needs, Past, Values};
use super::error::{ParseError, data_of};
use super::excerpt::Excerpt;
use super::row_problem::RowFault;
use super::rows::{FetchedDays, Gathered};
use super::url::HttpUrl;
use crate::secret::Secret;

pub(super) const DECLARED: Declaration = Declaration {
    table: "station.cimis",
    name: "cimis-daily",
    service: "CIMIS (California Department of Water Resources), by a station's number",
    values: Values::Observed,
    unit: "°F, checked in each answer",
    day: "midnight to midnight of Pacific Standard Time, all year",
    latency: "by the next morning (from memory); flags change for weeks",
    flags: "values out of service, far out of range or filled with an average (I, S, R, A) do not count unless confirmed; \
            moderate outliers (Y) do, since true hot days carry that flag",
    needs: Needs::Key,
    past: Past::AsAsked,
};
const SERVICE: &str = "https://et.water.ca.gov/api/data";
/// No day before this can be asked for.
pub(super) const FIRST: NaiveDate = NaiveDate::from_ymd_opt(1982, 6, 7).expect("a day");
/// Some answers have the word in place of JSON's own.
const MISSING: [&str; 2] = ["", "null"];
/// Flags under which a value is none of that day: it has no meaning, its sensor was out of service, it lies far outside
/// of what was ever seen (which up to 89 °C was kept under), or an average of other years stands in for it. All others
/// tell of the hourly values, of other sensors, or of a true hot day (`Y`).
const UNUSABLE: [&str; 5] = ["I", "S", "N/A", "R", "A"];

/// One station of the service.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CimisFeed {
    /// The station's number.
    #[serde(deserialize_with = "number")]
    pub station: u16,
    /// The file with the key.
    pub key_file: Option<PathBuf>,
    /// The service's address.
    #[serde(default = "service")]
    pub base_url: HttpUrl,
    /// The key, from wherever it stands.
    #[serde(skip)]
    pub key: Option<Secret>,
}

impl CimisFeed {
    /// The address of the days `from..=to`, without the key.
    #[must_use]
    pub fn url(&self, from: NaiveDate, to: NaiveDate) -> HttpUrl {
        self.base_url.with_query([
            ("targets", self.station.to_string().as_str()),
            ("startDate", &from.to_string()),
            ("endDate", &to.to_string()),
            ("dataItems", "day-air-tmp-max,day-air-tmp-min"),
            ("unitOfMeasure", "E"),
        ])
    }

    /// The same with the key, where there is one.
    pub(super) fn url_with_key(&self, from: NaiveDate, to: NaiveDate) -> Option<HttpUrl> {
        let key = self.key.as_ref()?;
        Some(self.url(from, to).with_query([("appKey", key.expose())]))
    }
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Answer {
    data: Data,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Data {
    providers: Vec<Provider>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Provider {
    #[serde(default)]
    records: Vec<Record>,
}

/// One station day. What else it has is passed over.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Record {
    date: String,
    station: String,
    day_air_tmp_max: Option<Item>,
    day_air_tmp_min: Option<Item>,
    #[serde(flatten)]
    others: BTreeMap<String, IgnoredAny>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Item {
    value: Option<String>,
    qc: Option<String>,
    unit: String,
}

/// What every record has beside the values.
const BESIDE: [&str; 4] = ["Julian", "Standard", "ZipCodes", "Scope"];

/// Reads the service's answer about a station.
///
/// # Errors
/// [`ParseError`] when the answer is empty, a web page, or not records of station days with the fields asked for.
pub fn parse(answer: &[u8], station: u16) -> Result<FetchedDays, ParseError> {
    let format = CellFormat {
        missing: MissingMarkers::new(&MISSING),
        decimal_comma: false,
    };
    let records = records_of(answer)?;
    none_is_renamed(&records)?;
    let mut gathered = Gathered::default();
    for (record, number) in records.iter().zip(1..) {
        gather(&mut gathered, &format, number, record, station)?;
    }
    Ok(gathered.finish())
}

fn records_of(answer: &[u8]) -> Result<Vec<Record>, ParseError> {
    let data = data_of(answer)?;
    let read: Answer =
        serde_json::from_slice(data).map_err(|source| ParseError::not_days(data, source))?;
    let providers = read.data.providers.into_iter();
    Ok(providers.flat_map(|provider| provider.records).collect())
}

/// A value that is missing has its field all the same.
fn none_is_renamed(records: &[Record]) -> Result<(), ParseError> {
    let lacks_max = records
        .iter()
        .all(|record| record.day_air_tmp_max.is_none());
    let lacks_min = records
        .iter()
        .all(|record| record.day_air_tmp_min.is_none());
    let field = match (records.is_empty(), lacks_max, lacks_min) {
        (false, true, _) => "DayAirTmpMax",
        (false, _, true) => "DayAirTmpMin",
        _ => return Ok(()),
    };
    let fields = records.iter().flat_map(|record| record.others.keys());
    let found: BTreeSet<&str> = fields.map(String::as_str).collect();
    let found = found.into_iter().filter(|name| !BESIDE.contains(name));
    Err(ParseError::MissingField {
        field,
        found: found.map(Excerpt::of_cell).collect(),
    })
}

fn gather(
    gathered: &mut Gathered,
    format: &CellFormat,
    number: u64,
    record: &Record,
    station: u16,
) -> Result<(), ParseError> {
    let date = match iso_date("Date", &record.date) {
        Ok(date) => date,
        Err(fault) => return gathered.problem(number, None, fault),
    };
    if record.station.trim().parse() != Ok(station) {
        let other = RowFault::other_station(&station.to_string(), &record.station);
        return gathered.problem(number, Some(date), other);
    }
    let (min, max) = (&record.day_air_tmp_min, &record.day_air_tmp_max);
    let unit = match unit_of(min.iter().chain(max)) {
        Ok(unit) => unit,
        Err(fault) => return gathered.problem(number, Some(date), fault),
    };
    let mut value = |column, item: &Option<Item>| {
        let text = item.as_ref().and_then(|item| item.value.as_deref());
        gathered.value(number, date, format.read(column, text.unwrap_or_default()))
    };
    let day = ReceivedDay {
        date,
        min: value("DayAirTmpMin", min)?,
        max: value("DayAirTmpMax", max)?,
        unit,
        min_flag: min.as_ref().and_then(failed),
        max_flag: max.as_ref().and_then(failed),
    };
    gathered.day(number, day)
}

/// The unit that all values of a day name.
fn unit_of<'a>(items: impl Iterator<Item = &'a Item>) -> Result<Unit, RowFault> {
    let mut units: Vec<&str> = items.map(|item| item.unit.trim()).collect();
    units.dedup();
    match units.as_slice() {
        ["(F)"] | [] => Ok(Unit::Fahrenheit),
        ["(C)"] => Ok(Unit::Celsius),
        others => Err(RowFault::BadUnit {
            value: Excerpt::of_cell(&others.join(" ")),
        }),
    }
}

/// The flag of a value that is none of its day.
fn failed(item: &Item) -> Option<String> {
    let flag = item.qc.as_deref()?.trim();
    UNUSABLE.contains(&flag).then(|| flag.to_owned())
}

fn service() -> HttpUrl {
    HttpUrl::new(SERVICE).expect("the service's address is a constant that a test reads")
}

/// A number, also between quotes.
fn number<'de, D: Deserializer<'de>>(deserializer: D) -> Result<u16, D::Error> {
    let given = toml::Value::deserialize(deserializer)?;
    let number = match &given {
        toml::Value::Integer(number) => u16::try_from(*number).ok(),
        toml::Value::String(text) => text.trim().parse().ok(),
        _ => None,
    };
    number.filter(|number| *number > 0).ok_or_else(|| {
        D::Error::custom(format!(
            "the station {given} must be the number of a CIMIS station, such as 39"
        ))
    })
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
    fn the_request_names_station_days_items_and_unit_and_shows_no_key() {
        let mut feed: CimisFeed = toml::from_str("station = 39").unwrap();
        let days = ("2024-07-01".parse().unwrap(), "2024-07-09".parse().unwrap());
        assert_eq!(feed.url_with_key(days.0, days.1), None);
        feed.key = Some(Secret::new("hunter-2".to_owned()));
        let url = feed.url_with_key(days.0, days.1).unwrap();
        assert_eq!(
            url.whole().as_str(),
            "https://et.water.ca.gov/api/data?targets=39&startDate=2024-07-01&endDate=2024-07-09\
             &dataItems=day-air-tmp-max%2Cday-air-tmp-min&unitOfMeasure=E&appKey=hunter-2"
        );
        let shown = format!("{url} {url:?} {feed:?}");
        assert!(!shown.contains("hunter"), "{shown}");
    }

    #[test]
    fn the_configuration_is_checked() {
        let feed: CimisFeed = toml::from_str("station = '39'").unwrap();
        assert_eq!(feed.station, 39);
        for wrong in ["0", "-39", "'Parlier'", "39.5"] {
            let error = toml::from_str::<CimisFeed>(&format!("station = {wrong}")).unwrap_err();
            let words = error.to_string();
            assert!(words.contains("the number of a CIMIS station"), "{words}");
        }
    }

    #[test]
    fn the_day_of_a_real_answer_is_read() {
        let fetched = parse(&sample("cimis/station_213.json"), 213).unwrap();
        assert_eq!(fetched.days, [day("2023-07-23", Some(54.8), Some(63.9))]);
        let metric = parse(&sample("cimis/metric.json"), 39).unwrap();
        let expected = samples::day("2024-07-01", Some(18.3), Some(38.0), Unit::Celsius);
        assert_eq!(metric.days, [expected]);
    }

    #[test]
    fn a_hot_day_stays_and_what_is_missing_or_no_value_of_the_day_does_not_count() {
        let fetched = parse(&sample("cimis/nulls_and_flags.json"), 39).unwrap();
        let flagged = |day: ReceivedDay, min: Option<&str>, max: Option<&str>| ReceivedDay {
            min_flag: min.map(str::to_owned),
            max_flag: max.map(str::to_owned),
            ..day
        };
        let expected = [
            day("2024-07-01", Some(64.9), Some(100.4)),
            day("2024-07-02", None, None),
            day("2024-07-03", Some(70.1), Some(111.2)),
            flagged(
                day("2024-07-04", Some(-180.4), Some(4183.2)),
                Some("S"),
                Some("S"),
            ),
            flagged(
                day("2024-07-05", Some(69.4), Some(108.8)),
                Some("A"),
                Some("R"),
            ),
            day("2024-07-06", Some(68.0), Some(106.1)),
            flagged(day("2024-07-07", Some(66.2), None), None, Some("I")),
        ];
        assert_eq!(fetched.days, expected);
        assert_eq!(fetched.problems, []);
    }

    #[test]
    fn another_station_or_unit_and_a_renamed_field_are_named() {
        let problems = |answer: &str, station| -> Vec<String> {
            let fetched = parse(answer.as_bytes(), station).unwrap();
            assert_eq!(fetched.days, []);
            fetched.problems.iter().map(ToString::to_string).collect()
        };
        let metric = String::from_utf8(sample("cimis/metric.json")).unwrap();
        assert_eq!(
            problems(&metric, 213),
            ["row 1 (2024-07-01): the row is of station \"39\", not \"213\"; row not used"]
        );
        let mixed = metric.replacen("(C)", "(F)", 1);
        assert_eq!(
            problems(&mixed, 39),
            ["row 1 (2024-07-01): the unit \"(C) (F)\" is neither (F) nor (C); row not used"]
        );
        let renamed = metric.replace("DayAirTmpMax", "DayAirTempMax");
        let error = parse(renamed.as_bytes(), 39).unwrap_err().to_string();
        assert_eq!(
            error,
            r#"no day has the field DayAirTmpMax; the fields are "DayAirTempMax""#
        );
    }

    #[test]
    fn an_answer_that_is_no_station_days_says_what_it_is() {
        let check = |answer: &[u8], part: &str| {
            let error = parse(answer, 39).unwrap_err().to_string();
            assert!(error.contains(part), "{error}");
        };
        check(b"", "empty");
        check(&sample("cimis/rejected.html"), "Request Rejected");
        check(b"ERR1006: INVALID APP KEY", "not a list of station days");
        check(&sample("cimis/hourly.json"), "no day has the field");
        let none = br#"{"Data":{"Providers":[{"Name":"cimis","Type":"station"}]}}"#;
        assert_eq!(parse(none, 39).unwrap(), FetchedDays::default());
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(answer in prop::collection::vec(any::<u8>(), 0..300)) {
            let _ = parse(&answer, 39);
        }

        #[test]
        fn no_change_of_one_byte_makes_it_panic_or_gives_a_number_that_is_none(
            place in 0..3000_usize, byte in any::<u8>()
        ) {
            let mut answer = sample("cimis/nulls_and_flags.json");
            let place = place % answer.len();
            answer[place] = byte;
            if let Ok(fetched) = parse(&answer, 39) {
                let values = fetched.days.iter().flat_map(|d| [d.min, d.max]).flatten();
                prop_assert!(values.into_iter().all(f64::is_finite));
            }
        }
    }
}
