//! The daily summaries of the US National Centers for Environmental Information (NCEI Access
//! Data Service, dataset `daily-summaries`): no key, days of the station's own observing day.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use serde::de::IgnoredAny;
use serde::{Deserialize, Deserializer};

use super::cell::{CellFormat, MissingMarkers, iso_date};
use super::declaration::{Declaration, Needs, Past, Values};
use super::error::{ParseError, data_of};
use super::excerpt::Excerpt;
use super::row_problem::RowFault;
use super::rows::{FetchedDays, Gathered};
use super::url::HttpUrl;

pub(super) const DECLARED: Declaration = Declaration {
    table: "station.ncei",
    name: "ncei-daily-summaries",
    service: "NCEI daily summaries (NOAA), by a station's GHCN-Daily id",
    values: Values::Observed,
    unit: "°C, as asked for",
    day: "the station's own climatological day: airports from local standard midnight, cooperative observers from their reading",
    latency: "two to three days; revised for weeks",
    flags: "a value that failed a check of the archive, whichever, does not count unless confirmed",
    needs: Needs::Nothing,
    past: Past::AsAsked,
};
const SERVICE: &str = "https://www.ncei.noaa.gov/access/services/data/v1";
/// The service leaves a missing value out. The archive behind it writes -9999 in tenths of a
/// degree, so both readings of that are taken for missing too.
const MISSING: [&str; 3] = ["", "-9999", "-999.9"];

/// One station of the service.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NceiFeed {
    /// The station's id in the Global Historical Climatology Network: 11 letters and digits.
    #[serde(deserialize_with = "ghcn_id")]
    pub station: String,
    /// The service's address.
    #[serde(default = "service")]
    pub base_url: HttpUrl,
}

impl NceiFeed {
    /// The address of the days `from..=to`. The answer does not say its unit, so the request
    /// names it; without the attributes, values that failed a check would come unmarked.
    #[must_use]
    pub fn url(&self, from: NaiveDate, to: NaiveDate) -> HttpUrl {
        self.base_url.with_query([
            ("dataset", "daily-summaries"),
            ("stations", &self.station),
            ("startDate", &from.to_string()),
            ("endDate", &to.to_string()),
            ("dataTypes", "TMAX,TMIN"),
            ("units", "metric"),
            ("includeAttributes", "true"),
            ("format", "json"),
        ])
    }
}

/// Reads the service's answer about `station` to a request with `units=metric`.
///
/// # Errors
/// [`ParseError`] when the answer is empty, a web page, the service's own error, or not a list
/// of station days.
pub fn parse(answer: &[u8], station: &str) -> Result<FetchedDays, ParseError> {
    let format = CellFormat {
        missing: MissingMarkers::new(&MISSING),
        decimal_comma: false,
    };
    let rows = rows_of(answer)?;
    none_is_renamed(&rows)?;
    let mut gathered = Gathered::default();
    for (row, number) in rows.iter().zip(1..) {
        gather(&mut gathered, &format, number, row, station)?;
    }
    Ok(gathered.finish())
}

/// One station day; every value is text, often with blanks before it. Other elements of the
/// station are passed over.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "SCREAMING_SNAKE_CASE")]
struct Row {
    station: String,
    date: String,
    tmin: Option<String>,
    tmin_attributes: Option<String>,
    tmax: Option<String>,
    tmax_attributes: Option<String>,
    #[serde(flatten)]
    others: BTreeMap<String, IgnoredAny>,
}

/// The service's own error, with the parameters it did not like.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
struct ServiceError {
    error_message: String,
    #[serde(default)]
    errors: Vec<FieldError>,
}

#[derive(Debug, Deserialize)]
struct FieldError {
    message: String,
}

fn rows_of(answer: &[u8]) -> Result<Vec<Row>, ParseError> {
    let data = data_of(answer)?;
    serde_json::from_slice(data).map_err(|source| match serde_json::from_slice(data) {
        Ok(error) => refused(&error),
        Err(_) => ParseError::not_days(data, source),
    })
}

/// A station may lack an element for a year, but where only a field of another name is in all its days, it was renamed,
/// and its values would be missing without a word.
fn none_is_renamed(rows: &[Row]) -> Result<(), ParseError> {
    let fields = [
        ("TMIN", rows.iter().all(|row| row.tmin.is_none())),
        ("TMAX", rows.iter().all(|row| row.tmax.is_none())),
    ];
    let found: BTreeSet<&str> = rows
        .iter()
        .flat_map(|row| row.others.keys())
        .map(String::as_str)
        .collect();
    let missing = fields.into_iter().find(|(_, is_missing)| *is_missing);
    match missing {
        Some((field, _)) if !found.is_empty() => Err(ParseError::MissingField {
            field,
            found: found.into_iter().map(Excerpt::of_cell).collect(),
        }),
        _ => Ok(()),
    }
}

fn refused(error: &ServiceError) -> ParseError {
    let details = error.errors.iter().map(|field| field.message.as_str());
    let words: Vec<&str> = std::iter::once(error.error_message.as_str())
        .chain(details)
        .collect();
    ParseError::Refused {
        message: Excerpt::of_answer(words.join(" ").as_bytes()),
    }
}

fn gather(
    gathered: &mut Gathered,
    format: &CellFormat,
    number: u64,
    row: &Row,
    station: &str,
) -> Result<(), ParseError> {
    let date = match iso_date("DATE", &row.date) {
        Ok(date) => date,
        Err(fault) => return gathered.problem(number, None, fault),
    };
    if row.station.trim() != station {
        return gathered.problem(
            number,
            Some(date),
            RowFault::other_station(station, &row.station),
        );
    }
    let mut value = |column, text: &Option<String>| {
        let read = format.read(column, text.as_deref().unwrap_or_default());
        gathered.value(number, date, read)
    };
    let day = ReceivedDay {
        date,
        min: value("TMIN", &row.tmin)?,
        max: value("TMAX", &row.tmax)?,
        unit: Unit::Celsius,
        min_flag: quality_flag(row.tmin_attributes.as_deref()),
        max_flag: quality_flag(row.tmax_attributes.as_deref()),
    };
    gathered.day(number, day)
}

/// The second of the attributes (measurement, quality, source, time of observation). Any letter
/// means that the value failed a check (GHCN-Daily readme, QFLAG); new letters are added to it.
pub(super) fn quality_flag(attributes: Option<&str>) -> Option<String> {
    let flag = attributes?.split(',').nth(1)?.trim();
    (!flag.is_empty()).then(|| flag.to_owned())
}

fn service() -> HttpUrl {
    HttpUrl::new(SERVICE).expect("the service's address is a constant that a test reads")
}

/// A wrong id would be answered with an empty list for ever, so its form is checked here.
pub(super) fn ghcn_id<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    let id = String::deserialize(deserializer)?;
    let well_formed = id.len() == 11 && id.bytes().all(|b| b.is_ascii_alphanumeric());
    well_formed.then(|| id.to_ascii_uppercase()).ok_or_else(|| {
        serde::de::Error::custom(format!(
            "the station id {id:?} must have 11 letters and digits, such as USW00093193"
        ))
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::feed::samples::{self, sample};

    const FRESNO: &str = "USW00093193";

    fn day(date: &str, min: Option<f64>, max: Option<f64>) -> ReceivedDay {
        samples::day(date, min, max, Unit::Celsius)
    }

    #[test]
    fn the_request_names_station_days_unit_and_attributes() {
        let feed: NceiFeed = toml::from_str("station = 'USW00093193'").unwrap();
        let url = feed.url("2024-07-01".parse().unwrap(), "2024-07-09".parse().unwrap());
        assert_eq!(
            url.whole().as_str(),
            "https://www.ncei.noaa.gov/access/services/data/v1?dataset=daily-summaries\
             &stations=USW00093193&startDate=2024-07-01&endDate=2024-07-09\
             &dataTypes=TMAX%2CTMIN&units=metric&includeAttributes=true&format=json"
        );
    }

    #[test]
    fn the_configuration_is_checked() {
        let check = |text: &str, part: &str| {
            let error = toml::from_str::<NceiFeed>(text).unwrap_err().to_string();
            assert!(error.contains(part), "{error}");
        };
        check("station = '93193'", "must have 11 letters and digits");
        check(
            "station = 'USW00093193'\nunits = 'f'",
            "unknown field `units`",
        );
        check(
            "station = 'USW00093193'\nbase_url = 'ncei'",
            "http:// or https://",
        );
    }

    #[test]
    fn padded_values_flags_and_absent_keys_are_read() {
        let fetched = parse(&sample("ncei/metric_with_attributes.json"), FRESNO).unwrap();
        let flagged = ReceivedDay {
            max_flag: Some("X".to_owned()),
            ..day("2024-07-07", Some(27.2), Some(60.6))
        };
        let expected = [
            day("2024-07-04", Some(25.6), Some(43.3)),
            day("2024-07-05", None, Some(42.2)),
            flagged,
        ];
        assert_eq!(fetched.days, expected);
        assert_eq!(fetched.problems, []);
    }

    #[test]
    fn other_elements_are_passed_over() {
        let fetched = parse(&sample("ncei/tenths_padded.json"), "USW00094728").unwrap();
        let dates: Vec<String> = fetched.days.iter().map(|d| d.date.to_string()).collect();
        assert_eq!(dates, ["2023-07-15", "2023-07-16", "2023-07-17"]);
    }

    #[test]
    fn a_renamed_field_is_named_and_one_that_a_station_lacks_is_not() {
        let answer = |fields: &str| {
            let row =
                |day| format!(r#"{{"DATE":"2024-07-0{day}","STATION":"USW00093193"{fields}}}"#);
            format!("[{},{}]", row(1), row(2))
        };
        let renamed = answer(r#","TMIN":"20.0","MAX_TEMP":"40.0""#);
        let error = parse(renamed.as_bytes(), FRESNO).unwrap_err().to_string();
        assert_eq!(
            error,
            r#"no day has the field TMAX; the fields are "MAX_TEMP""#
        );
        let lacks = parse(answer(r#","TMIN":"20.0""#).as_bytes(), FRESNO).unwrap();
        assert_eq!(lacks.days[1], day("2024-07-02", Some(20.0), None));
    }

    #[test]
    fn no_days_are_not_an_error() {
        assert_eq!(
            parse(&sample("ncei/no_days.json"), FRESNO).unwrap(),
            FetchedDays::default()
        );
    }

    #[test]
    fn a_row_of_another_station_is_refused() {
        let fetched = parse(&sample("ncei/tenths_padded.json"), FRESNO).unwrap();
        assert_eq!(fetched.days, []);
        assert_eq!(
            fetched.problems[0].to_string(),
            "row 1 (2023-07-15): the row is of station \"USW00094728\", not \"USW00093193\"; row not used"
        );
    }

    #[test]
    fn an_answer_that_is_no_list_of_days_says_what_it_is() {
        let check = |answer: &[u8], part: &str| {
            let error = parse(answer, FRESNO).unwrap_err().to_string();
            assert!(error.contains(part), "{error}");
        };
        check(b"", "empty");
        check(b" \r\n", "empty");
        check(
            &sample("ncei/unavailable.html"),
            "a web page came instead of data: \"<!DOCTYPE",
        );
        check(
            &sample("ncei/error.json"),
            "A validation error occurred. A valid dataset is required.",
        );
        check(b"ERROR: try later", "begins \"ERROR: try later\"");
        check(b"{\"days\":[]}", "not a list of station days");
        check(
            b"[{\"STATION\":\"USW00093193\"}]",
            "not a list of station days",
        );
        check(
            &sample("ncei/metric_with_attributes.json")[..300],
            "not a list of station days",
        );
    }

    #[test]
    fn a_bad_value_or_date_does_not_stop_the_rest() {
        let answer = br#"[
            {"DATE":"2024-07-01","STATION":"USW00093193","TMAX":"warm","TMIN":"20.0"},
            {"DATE":"07/02/2024","STATION":"USW00093193","TMAX":"40.0","TMIN":"20.0"},
            {"DATE":"2024-07-03","STATION":"USW00093193","TMAX":" -9999","TMIN":"NaN"},
            {"DATE":"2024-07-01","STATION":"USW00093193","TMAX":"41.0","TMIN":"20.0"}]"#;
        let fetched = parse(answer, FRESNO).unwrap();
        let expected = [
            day("2024-07-01", Some(20.0), Some(41.0)),
            day("2024-07-03", None, None),
        ];
        assert_eq!(fetched.days, expected);
        let problems: Vec<String> = fetched.problems.iter().map(ToString::to_string).collect();
        assert_eq!(
            problems,
            [
                "row 1 (2024-07-01): \"warm\" in column \"TMAX\" is not a temperature; counted as missing",
                "row 2: \"07/02/2024\" in column \"DATE\" is not a date of the form \"%Y-%m-%d\"; row not used",
                "row 3 (2024-07-03): \"NaN\" in column \"TMIN\" is not a temperature; counted as missing",
                "row 4 (2024-07-01): the date was already in row 1; where the two differ, neither counts",
            ]
        );
    }

    #[test]
    fn the_quality_flag_is_the_second_attribute() {
        let check = |attributes, expected: Option<&str>| {
            assert_eq!(
                quality_flag(attributes).as_deref(),
                expected,
                "{attributes:?}"
            );
        };
        check(None, None);
        check(Some(",,W,2400"), None);
        check(Some(",,S"), None);
        check(Some("H"), None);
        check(Some(",X,W,2400"), Some("X"));
        check(Some("H, I ,7"), Some("I"));
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(answer in proptest::collection::vec(any::<u8>(), 0..400)) {
            let _ = parse(&answer, FRESNO);
        }

        #[test]
        fn no_change_of_one_byte_makes_it_panic_or_gives_a_number_that_is_none(
            place in 0..500_usize, byte in any::<u8>()
        ) {
            let mut answer = sample("ncei/metric_with_attributes.json");
            let place = place % answer.len();
            answer[place] = byte;
            if let Ok(fetched) = parse(&answer, FRESNO) {
                let values = fetched.days.iter().flat_map(|d| [d.min, d.max]).flatten();
                prop_assert!(values.into_iter().all(f64::is_finite));
                prop_assert!(fetched.days.is_sorted_by(|a, b| a.date < b.date));
            }
        }
    }
}
