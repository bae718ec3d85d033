//! The station table: each way a table was seen to be written, and to be wrong.

use proptest::prelude::*;

use super::*;

const FEED: &str = "source = 'station.csv'\ndate_column = 'day'\nmin_column = 'tmin'\n\
                    max_column = 'tmax'\nunit = 'f'\n";

fn feed(more: &str) -> TableFeed {
    toml::from_str(&format!("{FEED}{more}")).unwrap()
}

fn read(table: &str, more: &str) -> FetchedDays {
    parse(table.as_bytes(), &feed(more)).unwrap()
}

/// Date, minimum and maximum of each day.
fn days(fetched: &FetchedDays) -> Vec<(String, Option<f64>, Option<f64>)> {
    let days = fetched.days.iter();
    days.map(|day| (day.date.to_string(), day.min, day.max))
        .collect()
}

fn problems(fetched: &FetchedDays) -> Vec<String> {
    fetched.problems.iter().map(ToString::to_string).collect()
}

#[test]
fn rows_in_any_order_and_extra_columns_become_sorted_days() {
    let fetched = read(
        "\u{feff}station,tmax, day ,rain,tmin\nX,98.1,2024-07-05,0.0,61.2\n\nX,97,2024-07-04,0.0,60\n",
        "",
    );
    let expected = [
        ("2024-07-04".to_owned(), Some(60.0), Some(97.0)),
        ("2024-07-05".to_owned(), Some(61.2), Some(98.1)),
    ];
    assert_eq!(days(&fetched), expected);
    assert_eq!(
        fetched.days[0].unit,
        duskflight_core::temperature::Unit::Fahrenheit
    );
    assert_eq!(fetched.problems, []);
}

#[test]
fn missing_markers_never_become_numbers() {
    for marker in [
        "", " ", "M", "m", "na", "NONE", "null", "-9999", "-9999.0", "-999", "-999.00", "S",
    ] {
        let fetched = read(&format!("day,tmin,tmax\n2024-07-04,{marker},97\n"), "");
        assert_eq!(
            days(&fetched),
            [("2024-07-04".to_owned(), None, Some(97.0))],
            "{marker:?}"
        );
        assert_eq!(fetched.problems, [], "{marker:?}");
    }
    let fetched = read(
        "day,tmin,tmax\n2024-07-04,-99.9,M\n",
        "missing = ['-99.90']",
    );
    assert_eq!(days(&fetched), [("2024-07-04".to_owned(), None, None)]);
    assert_eq!(fetched.problems.len(), 1, "M is no marker in this table");
}

#[test]
fn a_bad_value_is_listed_and_counts_as_missing() {
    let fetched = read(
        "day,tmin,tmax\n2024-07-04,warm,NaN\n2024-07-05,inf,98\n",
        "",
    );
    let expected = [
        ("2024-07-04".to_owned(), None, None),
        ("2024-07-05".to_owned(), None, Some(98.0)),
    ];
    assert_eq!(days(&fetched), expected);
    assert_eq!(
        problems(&fetched),
        [
            "row 2 (2024-07-04): \"warm\" in column \"tmin\" is not a temperature; counted as missing",
            "row 2 (2024-07-04): \"NaN\" in column \"tmax\" is not a temperature; counted as missing",
            "row 3 (2024-07-05): \"inf\" in column \"tmin\" is not a temperature; counted as missing",
        ]
    );
}

#[test]
fn a_bad_date_is_listed_with_row_column_and_value() {
    let fetched = read(
        "day,tmin,tmax\n7/4/2024,60,97\n2024-02-30,60,97\n24-07-05,60,97\n",
        "date_format = '%Y-%m-%d'",
    );
    assert_eq!(fetched.days, []);
    assert_eq!(
        problems(&fetched),
        [
            "row 2: \"7/4/2024\" in column \"day\" is not a date of the form \"%Y-%m-%d\"; row not used",
            "row 3: \"2024-02-30\" in column \"day\" is not a date of the form \"%Y-%m-%d\"; row not used",
            "row 4: \"24-07-05\" in column \"day\" is not a date of the form \"%Y-%m-%d\"; row not used",
        ]
    );
}

#[test]
fn dates_as_spreadsheets_write_them_are_read_in_the_farms_order_where_no_form_is_declared() {
    let in_order = |order, table: &str| {
        let mut feed = feed("");
        feed.date_order = order;
        parse(table.as_bytes(), &feed).map(|fetched| {
            let days = days(&fetched).into_iter().map(|(day, ..)| day);
            (days.collect::<Vec<_>>().join(" "), problems(&fetched))
        })
    };
    let american = "day,tmin,tmax\n3/4/2024,60,97\n3/17/2024,60,97\n2024-03-18,60,97\n";
    let read = ("2024-03-04 2024-03-17 2024-03-18".to_owned(), Vec::new());
    assert_eq!(in_order(DateOrder::MonthDay, american).unwrap(), read);
    let european = "day,tmin,tmax\n04.03.2024,60,97\n17.03.2024,60,97\n18.03.2024,60,97\n";
    assert_eq!(in_order(DateOrder::DayMonth, european).unwrap(), read);

    // One date that cannot be of that order makes all others doubtful.
    let refused = in_order(DateOrder::MonthDay, european).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "row 3: \"17.03.2024\" in column \"day\": the farm's date_order reads month, day, year, which is no day; \
         say in date_format how dates are written there, such as \"%d/%m/%Y\""
    );
    // Nor is a row for each hour taken for the day.
    let (days, said) = in_order(
        DateOrder::MonthDay,
        "day,tmin,tmax\n2024-03-17 06:00,60,97\n",
    )
    .unwrap();
    assert_eq!((days.as_str(), said.len()), ("", 1));
    // Two digits may be of another century in a record of many years.
    let (days, said) = in_order(DateOrder::MonthDay, "day,tmin,tmax\n3/17/24,60,97\n").unwrap();
    let why = "row 2: \"3/17/24\" in column \"day\" is not read as a date; say in date_format how dates are \
               written there, such as \"%m/%d/%y\"; row not used";
    assert_eq!(
        (days.as_str(), said.as_slice()),
        ("", &[why.to_owned()][..])
    );
}

#[test]
fn of_two_rows_for_one_date_that_differ_neither_counts_in_any_order_and_it_is_said() {
    for rows in [["60,97", "61,M"], ["61,M", "60,97"]] {
        let [one, other] = rows.map(|cells| format!("2024-07-04,{cells}\n"));
        let fetched = read(&format!("day,tmin,tmax\n{one}{other}"), "");
        assert_eq!(
            days(&fetched),
            [("2024-07-04".to_owned(), None, Some(97.0))]
        );
        assert_eq!(
            problems(&fetched),
            [
                "row 3 (2024-07-04): the date was already in row 2; where the two differ, neither counts"
            ]
        );
    }
}

#[test]
fn a_row_of_another_width_is_left_out_because_its_values_may_have_moved() {
    let fetched = read(
        "day,tmin,tmax\n2024-07-04,15,5,36,2\n2024-07-05,60,97\n2024-07-06,6",
        "",
    );
    assert_eq!(
        days(&fetched),
        [("2024-07-05".to_owned(), Some(60.0), Some(97.0))]
    );
    assert_eq!(
        problems(&fetched),
        [
            "row 2: the row has 5 fields and the header has 3; row not used",
            "row 4: the row has 2 fields and the header has 3; row not used",
        ]
    );
}

#[test]
fn dates_in_other_forms_are_read_and_their_time_left_out() {
    let check = |format: &str, written: &str| {
        let table = format!("day,tmin,tmax\n\"{written}\",60,97\n");
        let fetched = read(&table, &format!("date_format = '{format}'"));
        assert_eq!(
            days(&fetched),
            [("2024-07-04".to_owned(), Some(60.0), Some(97.0))],
            "{format}"
        );
    };
    check("%m/%d/%Y", "7/4/2024");
    check("%d.%m.%y", "04.07.24");
    check("%Y%m%d", "20240704");
    check("%b %d, %Y", "Jul 04, 2024");
    check("%Y-%m-%d %H:%M", "2024-07-04 23:50");
    check("%Y-%m-%dT%H:%M:%S%z", "2024-07-04T23:50:00-0800");
    check("%m/%d/%Y %I:%M %p", "07/04/2024 11:50 PM");
}

#[test]
fn other_delimiters_and_a_decimal_comma_are_read() {
    let table = "day;tmin;tmax\n2024-07-04;15,5;36,2\n2024-07-05;-9999,0;37\n";
    let fetched = read(table, "delimiter = ';'\ndecimal_comma = true");
    let expected = [
        ("2024-07-04".to_owned(), Some(15.5), Some(36.2)),
        ("2024-07-05".to_owned(), None, Some(37.0)),
    ];
    assert_eq!(days(&fetched), expected);
    let fetched = read(
        "day\ttmin\ttmax\n2024-07-04\t60\t97\n",
        "delimiter = \"\\t\"",
    );
    assert_eq!(
        days(&fetched),
        [("2024-07-04".to_owned(), Some(60.0), Some(97.0))]
    );
}

#[test]
fn a_table_that_is_not_the_one_described_says_why() {
    let check = |table: &[u8], more: &str, expected: &str| {
        let error = parse(table, &feed(more)).unwrap_err().to_string();
        assert_eq!(error, expected);
    };
    check(b"", "", "the answer is empty");
    check(b"\xef\xbb\xbf\r\n", "", "the answer is empty");
    check(
        b"\n<html>log in</html>",
        "",
        "a web page came instead of data: \"<html>log in</html>\"",
    );
    check(
        b"day,min \xb0F,tmax\n",
        "",
        "the table has no column \"tmin\"; its columns are \"day\", \"min \u{fffd}F\", \"tmax\"",
    );
    check(
        b"ERROR: unknown station",
        "",
        "the table has no column \"day\"; its columns are \"ERROR: unknown station\"",
    );
    check(
        b"day,tmin,tmax,tmin\n",
        "",
        "the table has more than one column \"tmin\"",
    );
    let same = FEED.replace("'tmax'", "'tmin'");
    let error = parse(b"day,tmin,tmax\n", &toml::from_str(&same).unwrap()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "column \"tmin\" is named for two different things"
    );
}

#[test]
fn a_table_of_nothing_but_faults_is_refused_as_a_whole() {
    let table = format!("day,tmin,tmax\n{}", "x,60,97\n".repeat(10_001));
    let error = parse(table.as_bytes(), &feed("")).unwrap_err().to_string();
    assert!(
        error.starts_with("more than 10000 rows cannot be used; the first is row 2: \"x\""),
        "{error}"
    );
}

#[test]
fn the_configuration_is_checked() {
    let check = |more: &str, part: &str| {
        let error = toml::from_str::<TableFeed>(&format!("{FEED}{more}"));
        let error = error.unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    };
    check("units = 'c'", "unknown field `units`");
    check("delimiter = ', '", "must be one ASCII character");
    check("delimiter = '\"'", "must be one ASCII character");
    check("date_format = '%m/%d'", "does not hold a whole date");
    check("date_format = '%Q'", "does not hold a whole date");
    check("date_format = ''", "does not hold a whole date");
}

#[test]
fn a_source_is_an_address_or_a_path_from_the_configuration() {
    let source = |text: &str| TableSource::try_from(text.to_owned());
    let resolved = |text: &str| {
        let mut feed = feed("");
        feed.source = source(text).unwrap();
        feed.resolve(Path::new("/etc/farm"), DateOrder::MonthDay);
        feed.source.to_string()
    };
    assert_eq!(resolved("days/station.csv"), "/etc/farm/days/station.csv");
    assert_eq!(resolved("/srv/station.csv"), "/srv/station.csv");
    assert_eq!(
        resolved("https://data.example.org/s.csv?key=k"),
        "https://data.example.org/s.csv?…"
    );
    assert!(source("ftp://data.example.org/s.csv").is_err());
}

#[tokio::test]
async fn what_is_not_a_readable_file_of_sensible_size_is_an_error() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("station.csv");
    std::fs::write(&file, "day,tmin,tmax\n").unwrap();
    assert_eq!(read_file(&file, 14).await.unwrap(), b"day,tmin,tmax\n");
    let too_large = read_file(&file, 13).await.unwrap_err().to_string();
    assert!(
        too_large.ends_with("station.csv: it has 14 bytes and the most is 13"),
        "{too_large}"
    );
    let folder = read_file(dir.path(), 14).await.unwrap_err();
    assert!(matches!(folder, FeedError::NotAFile { .. }), "{folder:?}");
    let absent = read_file(&dir.path().join("absent.csv"), 14)
        .await
        .unwrap_err();
    assert!(matches!(absent, FeedError::ReadFile { .. }), "{absent:?}");
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(
        table in proptest::collection::vec(any::<u8>(), 0..400), header in any::<bool>()
    ) {
        let start = if header { "day,tmin,tmax\n" } else { "" };
        let table = [start.as_bytes(), &table].concat();
        if let Ok(fetched) = parse(&table, &feed("")) {
            let values = fetched.days.iter().flat_map(|d| [d.min, d.max]).flatten();
            prop_assert!(values.into_iter().all(f64::is_finite));
        }
    }

    #[test]
    fn every_value_written_is_read_back(
        values in proptest::collection::vec((-40.0..130.0_f64, -40.0..130.0_f64), 1..60)
    ) {
        let first = NaiveDate::from_ymd_opt(2023, 12, 20).unwrap();
        let mut table = String::from("day,tmin,tmax\n");
        for ((min, max), date) in values.iter().zip(first.iter_days()) {
            table.push_str(&format!("{date},{min},{max}\n"));
        }
        let fetched = parse(table.as_bytes(), &feed("")).unwrap();
        let read: Vec<_> = fetched.days.iter().map(|d| (d.min.unwrap(), d.max.unwrap())).collect();
        prop_assert_eq!(read, values);
        prop_assert_eq!(fetched.problems, vec![]);
    }
}
