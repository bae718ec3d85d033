use std::io::Write as _;

use flate2::Compression;
use flate2::write::GzEncoder;
use proptest::prelude::*;

use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;

use super::*;
use crate::error_chain::error_chain;
use crate::feed::samples::{self, sample};

const FRESNO: &str = "USW00093193";

fn day(date: &str, min: Option<f64>, max: Option<f64>) -> ReceivedDay {
    samples::day(date, min, max, Unit::Celsius)
}

fn feed(station: &str, form: &str) -> GhcnFeed {
    toml::from_str(&format!("station = '{station}'\nform = '{form}'")).unwrap()
}

fn read(file: &[u8], station: &str, form: &str) -> Result<FetchedDays, ParseError> {
    parse(file, &feed(station, form))
}

fn words(file: &[u8], station: &str, form: &str) -> String {
    error_chain(&read(file, station, form).unwrap_err())
}

fn problems(fetched: &FetchedDays) -> Vec<String> {
    fetched.problems.iter().map(ToString::to_string).collect()
}

fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

#[test]
fn the_address_is_that_of_the_stations_file() {
    let check = |toml: &str, expected: &str| {
        let feed: GhcnFeed = toml::from_str(toml).unwrap();
        assert_eq!(feed.url().whole().as_str(), expected);
    };
    check(
        "station = 'usw00093193'",
        "https://www.ncei.noaa.gov/pub/data/ghcn/daily/by_station/USW00093193.csv.gz",
    );
    check(
        "station = 'USW00093193'\nform = 'dly'",
        "https://www.ncei.noaa.gov/pub/data/ghcn/daily/all/USW00093193.dly",
    );
    check(
        "station = 'USW00093193'\nform = 'access'",
        "https://www.ncei.noaa.gov/data/global-historical-climatology-network-daily/access/USW00093193.csv",
    );
    check(
        "station = 'USW00093193'\nform = 'access'\nbase_url = 'http://mirror.example/ghcn/'",
        "http://mirror.example/ghcn/USW00093193.csv",
    );
    let error = toml::from_str::<GhcnFeed>("station = 'USW00093193'\nform = 'xls'").unwrap_err();
    assert!(
        error.to_string().contains("`by-station`, `dly`, `access`"),
        "{error}"
    );
}

/// What an independent reader of the same files counted.
#[test]
fn real_files_of_fixed_width_give_their_days_and_flags() {
    let check = |station: &str, days, whole, sums: (f64, f64), flagged: &[&str]| {
        let file = sample(&format!("ghcn/{station}.dly"));
        let fetched = read(&file, station, "dly").unwrap();
        assert_eq!(problems(&fetched), [""; 0]);
        let mut both = fetched
            .days
            .iter()
            .map(|day| day.min.is_some() && day.max.is_some());
        assert_eq!(
            (
                fetched.days.len(),
                both.by_ref().filter(|both| *both).count()
            ),
            (days, whole)
        );
        let sum =
            |of: fn(&ReceivedDay) -> Option<f64>| fetched.days.iter().filter_map(of).sum::<f64>();
        assert!((sum(|day| day.min) - sums.0).abs() < 0.01);
        assert!((sum(|day| day.max) - sums.1).abs() < 0.01);
        let of_day = |day: &ReceivedDay| {
            let of = |flag: &Option<String>, value: Option<f64>| {
                let flag = flag.as_ref()?;
                Some(format!("{} {} {flag}", day.date, value?))
            };
            [of(&day.min_flag, day.min), of(&day.max_flag, day.max)]
        };
        let found: Vec<String> = fetched.days.iter().flat_map(of_day).flatten().collect();
        assert_eq!(found, flagged);
    };
    check(
        "USC00305816",
        297,
        267,
        (100.9, 2392.3),
        &["1872-01-01 2.2 I", "1872-01-02 1.1 I"],
    );
    check(
        "CA006105976",
        121,
        0,
        (68.3, -108.8),
        &[
            "1916-04-22 -12.8 S",
            "1916-04-23 -12.2 S",
            "1916-04-24 -6.7 S",
            "1930-12-02 -17.8 I",
            "1942-09-27 15.6 S",
            "1944-11-10 4.4 I",
        ],
    );
    check("AE000041196", 42, 37, (685.2, 1352.2), &[]);
}

fn fresno_days() -> Vec<ReceivedDay> {
    let flagged = ReceivedDay {
        min_flag: Some("X".to_owned()),
        ..day("2024-07-04", Some(65.6), Some(43.3))
    };
    vec![
        day("2024-07-03", Some(25.6), Some(43.3)),
        flagged,
        day("2024-07-06", Some(27.2), None),
    ]
}

#[test]
fn both_forms_of_csv_are_read_packed_or_not() {
    let wide = read(&sample("ghcn/access.csv"), FRESNO, "access").unwrap();
    assert_eq!((wide.days, wide.problems), (fresno_days(), vec![]));
    let long = sample("ghcn/by_station.csv");
    let plain = read(&long, FRESNO, "by-station").unwrap();
    let mut expected = fresno_days();
    expected.insert(0, day("2024-07-02", Some(24.4), Some(40.6)));
    expected.insert(3, day("2024-07-05", Some(25.0), Some(42.2)));
    assert_eq!((&plain.days, &plain.problems), (&expected, &vec![]));
    assert_eq!(read(&packed(&long), FRESNO, "by-station").unwrap(), plain);
    let in_two = [packed(&long[..79]), packed(&long[79..])].concat();
    assert_eq!(read(&in_two, FRESNO, "by-station").unwrap(), plain);
}

#[test]
fn what_is_missing_is_no_number_whether_written_or_left_out_or_past_the_months_end() {
    let head = "USW00093193202402TMAX";
    let group = |value: &str| format!("{value:>5}  W");
    let of = |values: &[&str]| values.iter().map(|value| group(value)).collect::<String>();
    let february = [
        vec!["101", "-9999", "-12"],
        vec!["150"; 26],
        vec!["-9999"; 2],
    ]
    .concat();
    let whole = format!("{head}{}\n", of(&february));
    // As an editor leaves it that strips what is blank at the end of a line.
    let stripped = format!("USW00093193202402TMIN{}\r\n\r\n", "   11".trim_end());
    let fetched = read((whole.clone() + &stripped).as_bytes(), FRESNO, "dly").unwrap();
    assert_eq!(problems(&fetched), [""; 0]);
    assert_eq!(fetched.days.len(), 28, "29 days and one of them missing");
    assert_eq!(fetched.days[0], day("2024-02-01", Some(1.1), Some(10.1)));
    assert_eq!(fetched.days[1], day("2024-02-03", None, Some(-1.2)));
    let slipped = whole.replacen("-9999  W\n", "  150  W\n", 1);
    let cut = "USW00093193202402TMIN   11  W   1";
    let odd = "USW00093193202402TMIN 11.0  W 9999  W   33  W";
    let other = "USW00093194202402TMIN   11  W";
    let long = format!("{whole}{}", "  150  W");
    let all = format!(
        "{slipped}{cut}\n{odd}\n{other}\n{}\nTotal\n",
        long.replace('\n', "")
    );
    let fetched = read(all.as_bytes(), FRESNO, "dly").unwrap();
    assert_eq!(fetched.days[0], day("2024-02-01", Some(1.1), Some(10.1)));
    assert_eq!(
        problems(&fetched),
        [
            "row 1 (2024-02-01): there is a value for day 31, which the month does not have; value not used",
            "row 2 (2024-02-02): \"cut off\" in column \"TMIN\" is not a temperature; counted as missing",
            "row 3 (2024-02-01): \"11.0\" in column \"TMIN\" is not a temperature; counted as missing",
            "row 3 (2024-02-02): \"9999\" in column \"TMIN\" is not a temperature; counted as missing",
            "row 4 (2024-02-01): the row is of station \"USW00093194\", not \"USW00093193\"; row not used",
            "row 5: \"USW00093193202402TMAX 101 W-9999 W -…\" is not of the form that its line should have; row not used",
            "row 6: \"Total\" is not of the form that its line should have; row not used",
        ]
    );
}

#[test]
fn a_row_that_is_cut_or_doubled_is_named_and_hides_no_other() {
    let long = "USW00093193,20240702,TMIN,244,,,W,2400\n\
                USW00093193,20240702,TMAX,406,,,W,2400\n\
                USW00093193,20240702,TMAX,407,,,W,2400\n\
                USW00093193,2024-07-03,TMAX,407,,,W,2400\n\
                USW00093193,20240704,PRCP,warm\n\
                USW00093193,20240704,TMAX,4";
    let fetched = read(long.as_bytes(), FRESNO, "by-station").unwrap();
    assert_eq!(fetched.days, [day("2024-07-02", Some(24.4), None)]);
    assert_eq!(
        problems(&fetched),
        [
            "row 3 (2024-07-02): the date was already in row 2; where the two differ, neither counts",
            "row 4: \"2024-07-03\" in column \"day\" is not a date of the form \"%Y%m%d\"; row not used",
            "row 6 (2024-07-04): the row has 4 fields and the header has 8; row not used",
        ]
    );
    let wide = String::from_utf8(sample("ghcn/access.csv")).unwrap();
    let fahrenheit = wide.replace("  433", "109.9");
    let fetched = read(fahrenheit.as_bytes(), FRESNO, "access").unwrap();
    assert_eq!(fetched.days[0], day("2024-07-03", Some(25.6), None));
    assert!(problems(&fetched)[0].contains("\"109.9\" in column \"TMAX\""));
}

#[test]
fn what_is_no_station_file_says_what_it_is() {
    for form in ["dly", "by-station", "access"] {
        assert!(words(b" \r\n", FRESNO, form).contains("empty"));
        let page = words(b"<html>Forbidden</html>", FRESNO, form);
        assert!(page.contains("a web page"), "{page}");
        let cut = words(&packed(b"USW00093193")[..14], FRESNO, form);
        assert!(cut.contains("unpack the answer"), "{cut}");
    }
    let long = sample("ghcn/by_station.csv");
    let dly = sample("ghcn/USC00305816.dly");
    let other = words(&long, FRESNO, "dly");
    assert!(
        other.contains("not a station file of the form \"dly\""),
        "{other}"
    );
    assert!(words(&dly, FRESNO, "by-station").contains("of the form \"by-station\""));
    assert!(words(&long, FRESNO, "access").contains("no column \"STATION\""));
    assert!(words(&dly, FRESNO, "dly").contains("another station"));
    assert!(words(&long, "USW00023257", "by-station").contains("another station"));
    let rain = String::from_utf8(long).unwrap().replace("TMAX", "TOBS");
    assert_eq!(
        words(rain.as_bytes(), FRESNO, "by-station"),
        "no day has the field TMAX; the fields are \"PRCP\", \"TMIN\", \"TOBS\""
    );
}

#[test]
fn a_packed_file_that_unpacks_without_end_is_given_up() {
    let zeros = packed(&vec![b'0'; 1024 * 1024]);
    let bomb = zeros.repeat(MOST_BYTES / (1024 * 1024) + 1);
    let words = words(&bomb, FRESNO, "by-station");
    assert!(words.contains("unpacks to more than"), "{words}");
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(answer in prop::collection::vec(any::<u8>(), 0..400)) {
        for form in ["dly", "by-station", "access"] {
            let _ = read(&answer, FRESNO, form);
        }
    }

    #[test]
    fn no_change_of_one_byte_makes_it_panic_or_gives_a_number_that_is_none(
        place in 0..9000_usize, byte in any::<u8>()
    ) {
        for (file, station, form) in [
            ("USC00305816.dly", "USC00305816", "dly"),
            ("by_station.csv", FRESNO, "by-station"),
            ("access.csv", FRESNO, "access"),
        ] {
            let mut answer = sample(&format!("ghcn/{file}"));
            let place = place % answer.len();
            answer[place] = byte;
            if let Ok(fetched) = read(&answer, station, form) {
                let values = fetched.days.iter().flat_map(|d| [d.min, d.max]).flatten();
                prop_assert!(values.into_iter().all(|value| value.is_finite() && value.abs() < 100.0));
                prop_assert!(fetched.days.is_sorted_by(|a, b| a.date < b.date));
            }
        }
    }
}
