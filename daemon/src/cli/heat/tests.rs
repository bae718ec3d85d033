//! The command without its process: what is read, refused, left out and written.

use super::*;
use crate::cli::heat::input::{gaps, parse};

const TEN_DAYS: &str = "date,tmin,tmax
2022-06-01,48,74
2022-06-02,50,79
2022-06-03,52,84
2022-06-04,55,88
2022-06-05,58,93
2022-06-06,60,97
2022-06-07,63,101
2022-06-08,66,105
2022-06-09,62,95
2022-06-10,54,80
";

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn model(method: Method, cutoff: Cutoff) -> HeatModel {
    let f = |v| Temperature::new(v, Unit::Fahrenheit).unwrap();
    HeatModel::new(Thresholds::new(f(55.0), f(94.0)).unwrap(), method, cutoff).unwrap()
}

fn days(text: &str) -> Vec<InputDay> {
    parse(text, "days.csv", Unit::Fahrenheit).unwrap()
}

fn refused(text: &str) -> String {
    let error = parse(text, "days.csv", Unit::Fahrenheit).unwrap_err();
    error.to_string()
}

#[test]
fn every_problem_names_its_place_and_what_to_do() {
    let cases = [
        (
            "",
            "days.csv, row 1: there is no column \"date\"; the columns are date,tmin,tmax",
        ),
        (
            "date,tmin\n",
            "days.csv, row 1: there is no column \"tmax\"; the columns are date,tmin,tmax",
        ),
        (
            "date,tmin,tmax,rain\n",
            "days.csv, row 1: the column \"rain\" is unknown or there twice; the columns are date,tmin,tmax",
        ),
        (
            "date,tmin,tmin,tmax\n",
            "days.csv, row 1: the column \"tmin\" is unknown or there twice; the columns are date,tmin,tmax",
        ),
        (
            "date,tmin,tmax\n",
            "days.csv has no days; give at least one row of date,tmin,tmax",
        ),
        (
            "date,tmin,tmax\n2022-06-01,12,5,30,1\n",
            "days.csv, row 2: 5 values for 3 columns; use a decimal point, not a comma",
        ),
        (
            "date,tmin,tmax\n2022-06-01,,80\n",
            "days.csv, row 2, column tmin: the value is missing; fill it in, or take the day out of the file",
        ),
        (
            "date,tmin,tmax\n2022-06-01,50\n",
            "days.csv, row 2, column tmax: the value is missing; fill it in, or take the day out of the file",
        ),
        (
            "date,tmin,tmax\n06/01/2022,50,80\n",
            "days.csv, row 2, column date: \"06/01/2022\" is not a date; write it as 2022-04-15",
        ),
        (
            "date,tmin,tmax\n2022-06-01,50,80F\n",
            "days.csv, row 2, column tmax: \"80F\" is not a temperature; write it as a number such as 61.5",
        ),
        (
            "date,tmin,tmax\n2022-06-01,NaN,80\n",
            "days.csv, row 2, column tmin: \"NaN\" is not a temperature; write it as a number such as 61.5",
        ),
        (
            "date,tmin,tmax\n2022-06-01,-99.90,80\n",
            "days.csv, row 2, column tmin: \"-99.90\" stands for a value that is missing; fill it in, or take the day out of the file",
        ),
        (
            "date,tmin,tmax\n2022-06-01,50,1e308\n",
            "days.csv, row 2, column tmax: no thermometer in the region has shown 1e308 °F; correct it, or say with --unit what the file is in",
        ),
        (
            "date,tmin,tmax\n\n2022-06-01,50,80\n\n\n2022-06-02,81,80.5\n",
            "days.csv, row 6, column tmin: the minimum 81 is above the maximum 80.5; correct one of them",
        ),
        (
            "date,tmin,tmax\n2022-06-02,50,80\n2022-06-02,50,80\n",
            "days.csv, row 3, column date: 2022-06-02 does not come after 2022-06-02; give each day once, oldest first",
        ),
    ];
    for (text, expected) in cases {
        assert_eq!(refused(text), expected, "for {text:?}");
    }
}

#[test]
fn what_no_thermometer_can_show_is_refused_in_either_unit() {
    let problem = |value: &str, unit| {
        let text = format!("date,tmin,tmax\n2022-06-01,{value},{value}\n");
        parse(&text, "days.csv", unit).map_err(|error| error.to_string())
    };
    for unit in [Unit::Fahrenheit, Unit::Celsius] {
        for value in ["-9999", "-999.9", "-99", "999", "9999.00", "99999"] {
            let told = problem(value, unit).unwrap_err();
            assert!(
                told.contains("stands for a value that is missing"),
                "{told}"
            );
        }
        for value in ["-6999", "32767", "1e308", "-1e308", "150"] {
            let told = problem(value, unit).unwrap_err();
            assert!(told.contains("no thermometer in the region"), "{told}");
        }
        for value in ["-9.9", "0", "9", "-40", "56.6"] {
            assert!(problem(value, unit).is_ok(), "{value}");
        }
    }
    // Hot, and a mark for nothing in the other unit.
    assert!(problem("99.9", Unit::Fahrenheit).is_ok());
    assert!(problem("99.9", Unit::Celsius).is_err());
}

#[test]
fn a_row_deep_in_a_long_file_has_its_number() {
    let first = date("1900-01-01");
    let mut text = "date,tmin,tmax\n".to_owned();
    for day in first.iter_days().take(40_000) {
        text.push_str(&format!("{day},50,80\n\n"));
    }
    assert_eq!(days(&text).len(), 40_000);
    text.push_str("tomorrow,50,80\n");
    assert!(refused(&text).starts_with("days.csv, row 80002, column date"));
}

#[test]
fn a_file_as_spreadsheets_save_it_is_read() {
    let plain = days("date,tmin,tmax\n2022-06-01,50,80.5\n");
    for text in [
        "\u{feff}date,tmin,tmax\r\n2022-06-01,50,80.5\r\n",
        "tmax,date,tmin\n80.50,\"2022-06-01\",50\n",
        "date, tmin, tmax\n2022-06-01, 50, 80.5",
    ] {
        assert_eq!(days(text), plain, "for {text:?}");
    }
}

#[test]
fn the_total_runs_on_from_day_to_day() {
    // Cumulative degree-days by numerical integration of the curve.
    let expected = [
        7.587, 17.984, 31.378, 47.878, 68.378, 91.512, 117.212, 145.156, 168.582, 180.665,
    ];
    let model = model(Method::SingleSine, Cutoff::Horizontal);
    let (heat, left_out) = accumulate(&days(TEN_DAYS), model, Unit::Fahrenheit);
    assert_eq!(left_out, []);
    assert_eq!(heat.len(), expected.len());
    for (day, expected) in heat.iter().zip(expected) {
        assert!(
            (day.total - expected).abs() < 1e-3,
            "{day:?}, expected {expected}"
        );
    }
}

#[test]
fn double_methods_leave_out_the_days_before_a_gap_and_the_newest() {
    let days = days(&TEN_DAYS.replace("2022-06-05,58,93\n", ""));
    let model = model(Method::DoubleSine, Cutoff::Horizontal);
    let (heat, left_out) = accumulate(&days, model, Unit::Fahrenheit);
    assert_eq!(left_out, [date("2022-06-04"), date("2022-06-10")]);
    assert_eq!(heat.len(), 7);
}

#[test]
fn gaps_are_told_with_their_length() {
    let mut text = TEN_DAYS.replace("2022-06-03,52,84\n", "");
    text = text.replace("2022-06-06,60,97\n2022-06-07,63,101\n", "");
    let told: Vec<_> = gaps(&days(&text)).map(|gap| gap.to_string()).collect();
    assert_eq!(
        told,
        [
            "there is no row for 2022-06-03; the total leaves that day out",
            "there are no rows for 2022-06-06 to 2022-06-07; the total leaves these 2 days out",
        ]
    );
}

fn written(write: impl FnOnce(&mut Vec<u8>) -> io::Result<()>) -> String {
    let mut out = Vec::new();
    write(&mut out).unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn csv_and_json_give_every_digit_and_the_table_rounds() {
    let model = model(Method::SingleTriangle, Cutoff::Horizontal);
    let (heat, _) = accumulate(
        &days("date,tmin,tmax\n2022-06-01,45,75\n2022-06-02,60.5,90\n"),
        model,
        Unit::Fahrenheit,
    );
    insta::assert_snapshot!(written(|out| report::csv(out, &heat)), @r"
    date,tmin,tmax,degree_days,total
    2022-06-01,45.0,75.0,6.666666666666667,6.666666666666667
    2022-06-02,60.5,90.0,20.25,26.916666666666668
    ");
    insta::assert_snapshot!(written(|out| report::json(out, &heat[..1])), @r#"
    [
      {
        "date": "2022-06-01",
        "tmin": 45.0,
        "tmax": 75.0,
        "degree_days": 6.666666666666667,
        "total": 6.666666666666667
      }
    ]
    "#);
    let table = written(|out| report::table(out, &heat, model, Unit::Fahrenheit));
    insta::assert_snapshot!(table, @r"
    ────────────────────────────────────────────────────
     Date         Min °F   Max °F   Degree-days   Total
    ════════════════════════════════════════════════════
     2022-06-01     45.0     75.0          6.67    6.67
     2022-06-02     60.5     90.0         20.25   26.92
    ────────────────────────────────────────────────────
    method single-triangle, cutoff horizontal, thresholds 55 and 94 °F, 2 days, 26.92 °F-days
    ");
}

#[test]
fn without_a_day_the_csv_still_has_its_header() {
    let header = written(|out| report::csv(out, &[]));
    assert_eq!(header, "date,tmin,tmax,degree_days,total\n");
}
