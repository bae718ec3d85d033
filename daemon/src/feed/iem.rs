//! The daily summaries of the Iowa Environmental Mesonet (IEM, `daily.py`): no key, airports and other networks of the
//! world, computed from reports as they come and replaced by official values.

use csv::{ByteRecord, Reader, ReaderBuilder};
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use serde::{Deserialize, Deserializer};

use chrono::NaiveDate;

use super::cell::{CellFormat, MissingMarkers, iso_date};
use super::declaration::{Declaration, Needs, Past, Values};
use super::error::{ParseError, data_of};
use super::excerpt::Excerpt;
use super::row_problem::RowFault;
use super::rows::{FetchedDays, Gathered};
use super::table::{position, uneven_row};
use super::url::HttpUrl;

pub(super) const DECLARED: Declaration = Declaration {
    table: "station.iem",
    name: "iem-daily",
    service: "IEM daily summaries (Iowa State University), by network and id",
    values: Values::Observed,
    unit: "°F",
    day: "midnight to midnight by the clock, as computed from reports; of standard time once the official value has come; \
          cooperative observers from their reading",
    latency: "minutes; a computed value is replaced by the official one, 1 to 2 °F away at times, and for a year by checked ones",
    flags: "it has none",
    needs: Needs::Nothing,
    past: Past::AsAsked,
};
const SERVICE: &str = "https://mesonet.agron.iastate.edu/cgi-bin/request/daily.py";
/// Blank is asked for; the others are what it sends otherwise.
const MISSING: [&str; 3] = ["", "None", "M"];
const MAX: &str = "max_temp_f";
const MIN: &str = "min_temp_f";

/// One station of the service.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct IemFeed {
    /// The network, such as `CA_ASOS`, the airports of California.
    #[serde(deserialize_with = "network")]
    pub network: String,
    /// The station's id there: of an airport of the US without the `K`.
    #[serde(deserialize_with = "station")]
    pub station: String,
    /// The service's address.
    #[serde(default = "service")]
    pub base_url: HttpUrl,
}

impl IemFeed {
    /// The address of the days `from..=to`.
    #[must_use]
    pub fn url(&self, from: NaiveDate, to: NaiveDate) -> HttpUrl {
        self.base_url.with_query([
            ("network", self.network.as_str()),
            ("stations", &self.station),
            ("sts", &from.to_string()),
            ("ets", &to.to_string()),
            ("var", "max_temp_f,min_temp_f"),
            ("na", "blank"),
            ("format", "csv"),
        ])
    }
}

/// Reads the service's answer about `station`.
///
/// # Errors
/// [`ParseError`] when the answer is empty, a web page, the service's own error under a status of success, or not a table
/// with the columns asked for.
pub fn parse(answer: &[u8], station: &str) -> Result<FetchedDays, ParseError> {
    let data = data_of(answer)?;
    if data.trim_ascii_start().starts_with(b"ERROR") {
        return Err(ParseError::Refused {
            message: Excerpt::of_answer(data),
        });
    }
    let mut reader = ReaderBuilder::new().from_reader(data);
    let columns = Columns::find(&mut reader)?;
    let format = CellFormat {
        missing: MissingMarkers::new(&MISSING),
        decimal_comma: false,
    };
    let mut gathered = Gathered::default();
    for record in reader.byte_records() {
        match record {
            Ok(record) => columns.gather(&mut gathered, &format, &record, station)?,
            Err(error) => uneven_row(&mut gathered, error)?,
        }
    }
    Ok(gathered.finish())
}

/// Where the columns stand.
struct Columns {
    station: usize,
    day: usize,
    min: usize,
    max: usize,
}

impl Columns {
    fn find(reader: &mut Reader<&[u8]>) -> Result<Self, ParseError> {
        let header = reader
            .byte_headers()
            .map_err(|source| ParseError::NotATable { source })?;
        Ok(Self {
            station: position(header, "station")?,
            day: position(header, "day")?,
            min: position(header, MIN)?,
            max: position(header, MAX)?,
        })
    }

    fn gather(
        &self,
        gathered: &mut Gathered,
        format: &CellFormat,
        record: &ByteRecord,
        station: &str,
    ) -> Result<(), ParseError> {
        let row = record.position().map_or(0, csv::Position::line);
        let field = |place: usize| String::from_utf8_lossy(&record[place]);
        let date = match iso_date("day", &field(self.day)) {
            Ok(date) => date,
            Err(fault) => return gathered.problem(row, None, fault),
        };
        let found = field(self.station);
        if !found.trim().eq_ignore_ascii_case(station) {
            let fault = RowFault::other_station(station, &found);
            return gathered.problem(row, Some(date), fault);
        }
        let mut value = |column: &str, place: usize| {
            gathered.value(row, date, format.read(column, &field(place)))
        };
        let day = ReceivedDay {
            min: value(MIN, self.min)?,
            max: value(MAX, self.max)?,
            ..ReceivedDay::empty(date, Unit::Fahrenheit)
        };
        gathered.day(row, day)
    }
}

fn service() -> HttpUrl {
    HttpUrl::new(SERVICE).expect("the service's address is a constant that a test reads")
}

fn network<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    let given = String::deserialize(deserializer)?.trim().to_owned();
    match given.contains('_') && is_plain(&given) {
        true => Ok(given),
        false => Err(serde::de::Error::custom(format!(
            "the network {given:?} must be one of the service's, such as CA_ASOS for the airports of California"
        ))),
    }
}

/// The service answers about an unknown id with an error, but of an airport every other service wants the `K`.
fn station<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    let given = String::deserialize(deserializer)?.trim().to_owned();
    let is_icao = given.len() == 4 && given.starts_with('K');
    match is_plain(&given) && !is_icao {
        true => Ok(given),
        false => Err(serde::de::Error::custom(format!(
            "the station {given:?} must be an id of the network, of an airport of the US without the K, such as MCE"
        ))),
    }
}

fn is_plain(text: &str) -> bool {
    let is_sign = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-');
    !text.is_empty() && text.bytes().all(is_sign)
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
    fn the_request_names_network_station_days_and_the_mark_of_what_is_missing() {
        let feed: IemFeed = toml::from_str("network = 'CA_ASOS'\nstation = 'FAT'").unwrap();
        let url = feed.url("2024-07-01".parse().unwrap(), "2024-07-09".parse().unwrap());
        assert_eq!(
            url.whole().as_str(),
            "https://mesonet.agron.iastate.edu/cgi-bin/request/daily.py?network=CA_ASOS&stations=FAT\
             &sts=2024-07-01&ets=2024-07-09&var=max_temp_f%2Cmin_temp_f&na=blank&format=csv"
        );
    }

    #[test]
    fn the_configuration_is_checked() {
        let check = |network: &str, station: &str, part: &str| {
            let text = format!("network = '{network}'\nstation = '{station}'");
            let error = toml::from_str::<IemFeed>(&text).unwrap_err().to_string();
            assert!(error.contains(part), "{error}");
        };
        check("CA_ASOS", "KFAT", "without the K");
        check("CA_ASOS", "FAT,BFL", "an id of the network");
        check("CA_ASOS", "", "an id of the network");
        check("CA", "FAT", "such as CA_ASOS");
    }

    #[test]
    fn real_and_written_answers_give_their_days() {
        let real = parse(&sample("iem/savw3.csv"), "SAVW3").unwrap();
        let expected = [
            day("2025-05-01", Some(35.0), Some(50.0)),
            day("2025-05-02", Some(43.0), Some(51.0)),
            day("2025-05-03", Some(40.0), None),
            day("2025-05-04", None, Some(62.0)),
        ];
        assert_eq!((&real.days[..], real.problems), (&expected[..], vec![]));
        let blank = parse(&sample("iem/blank.csv"), "FAT").unwrap();
        let expected = [
            day("2024-07-04", Some(78.0), Some(110.0)),
            day("2024-07-05", Some(77.0), None),
        ];
        assert_eq!((&blank.days[..], blank.problems), (&expected[..], vec![]));
        let letter = parse(&sample("iem/letter.csv"), "fat").unwrap();
        assert_eq!(letter.days[1], day("2024-07-05", None, Some(108.0)));
        assert_eq!((letter.days.len(), letter.problems), (3, vec![]));
    }

    #[test]
    fn a_row_of_another_station_or_cut_short_is_not_used() {
        let answer =
            b"station,day,max_temp_f,min_temp_f\nBFL,2024-07-04,110.0,78.0\nFAT,2024-07-05,110.0\n\
                       FAT,07/06/2024,110.0,78.0\nFAT,2024-07-07,110.0F,78.0\n";
        let fetched = parse(answer, "FAT").unwrap();
        assert_eq!(fetched.days, [day("2024-07-07", Some(78.0), None)]);
        let problems: Vec<String> = fetched.problems.iter().map(ToString::to_string).collect();
        assert_eq!(
            problems,
            [
                "row 2 (2024-07-04): the row is of station \"BFL\", not \"FAT\"; row not used",
                "row 3: the row has 3 fields and the header has 4; row not used",
                "row 4: \"07/06/2024\" in column \"day\" is not a date of the form \"%Y-%m-%d\"; row not used",
                "row 5 (2024-07-07): \"110.0F\" in column \"max_temp_f\" is not a temperature; counted as missing",
            ]
        );
    }

    #[test]
    fn an_error_under_a_status_of_success_and_another_form_are_named() {
        let check = |answer: &[u8], part: &str| {
            let error = parse(answer, "FAT").unwrap_err().to_string();
            assert!(error.contains(part), "{error}");
        };
        check(b"", "empty");
        check(b"<html>422</html>", "a web page");
        for error in String::from_utf8(sample("iem/errors.txt")).unwrap().lines() {
            let (_, text) = error.split_once("text/plain: ").unwrap();
            check(
                text.as_bytes(),
                &format!("the service answered with an error: {text:?}"),
            );
        }
        check(&sample("iem/records.json"), "no column \"station\"");
        check(&sample("iem/hourly.txt"), "no column \"station\"");
        check(
            b"station,day,max_tmpf,min_tmpf\n",
            "no column \"min_temp_f\"",
        );
        let none = b"station,day,max_temp_f,min_temp_f\n";
        assert_eq!(parse(none, "FAT").unwrap(), FetchedDays::default());
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(answer in prop::collection::vec(any::<u8>(), 0..300)) {
            let _ = parse(&answer, "FAT");
        }

        #[test]
        fn no_change_of_one_byte_makes_it_panic_or_gives_a_number_that_is_none(
            place in 0..500_usize, byte in any::<u8>()
        ) {
            let mut answer = sample("iem/savw3.csv");
            let place = place % answer.len();
            answer[place] = byte;
            if let Ok(fetched) = parse(&answer, "SAVW3") {
                let values = fetched.days.iter().flat_map(|d| [d.min, d.max]).flatten();
                prop_assert!(values.into_iter().all(f64::is_finite));
            }
        }
    }
}
