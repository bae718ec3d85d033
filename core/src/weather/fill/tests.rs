//! Each way of filling by hand-worked cases, and what must hold for any record.

use chrono::{Datelike, Days};
use proptest::prelude::*;

use super::*;
use crate::weather::{OwnRecord, ReceivedDay, StationFacts};

const AS_OF: NaiveDate = NaiveDate::from_ymd_opt(2022, 7, 1).expect("a day of the calendar");

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

/// The weather of a day: swings of 6 °F up and down that last four days each, the same everywhere.
fn swing(date: NaiveDate) -> f64 {
    if date.num_days_from_ce() / 4 % 2 == 0 {
        6.0
    } else {
        -6.0
    }
}

/// A station whose days are so much warmer than 50 to 80 °F and swing so much more.
fn days(years: i32, warmer: f64, more: f64) -> Vec<ReceivedDay> {
    let first = NaiveDate::from_ymd_opt(2022 - years, 1, 1).unwrap();
    first
        .iter_days()
        .take_while(|day| *day < AS_OF)
        .map(|date| ReceivedDay {
            date,
            min: Some(50.0 + warmer + more * swing(date)),
            max: Some(80.0 + warmer + more * swing(date)),
            unit: Unit::Fahrenheit,
            min_flag: None,
            max_flag: None,
        })
        .collect()
}

fn hide(days: &mut [ReceivedDay], first: NaiveDate, last: NaiveDate) {
    for day in days
        .iter_mut()
        .filter(|day| (first..=last).contains(&day.date))
    {
        (day.min, day.max) = (None, None);
    }
}

fn completed(own: &[ReceivedDay], fall_backs: &[Vec<ReceivedDay>]) -> CompletedSeries {
    let record =
        |days: &[ReceivedDay]| OwnRecord::new(days, &[], &StationFacts::default(), AS_OF).unwrap();
    let fall_backs: Vec<OwnRecord> = fall_backs.iter().map(|days| record(days)).collect();
    let fall_backs: Vec<&OwnRecord> = fall_backs.iter().collect();
    let station = crate::id::StationId::new("S").unwrap();
    let own = record(own);
    let weather = crate::weather::StationWeather::new(station, Some(&own), &fall_backs, AS_OF);
    weather.series().unwrap().clone()
}

fn on(series: &CompletedSeries, date: NaiveDate) -> Option<CompletedDay> {
    let at = usize::try_from((date - series.first()).num_days()).unwrap();
    series.days().get(at).copied().flatten()
}

fn max_on(series: &CompletedSeries, date: NaiveDate) -> f64 {
    on(series, date).unwrap().extremes.max().fahrenheit()
}

fn estimate_on(series: &CompletedSeries, date: NaiveDate) -> Estimate {
    on(series, date).unwrap().max.estimate().unwrap()
}

#[test]
fn a_fall_backs_departure_is_carried_over_by_its_slope() {
    // The fall-back is 10 °F cooler and swings half as much: what it shows means twice as much here.
    let mut own = days(12, 0.0, 1.0);
    hide(&mut own, date(5, 3), date(5, 12));
    let series = completed(&own, &[days(12, -10.0, 0.5)]);
    for day in date(5, 3).iter_days().take_while(|day| *day <= date(5, 12)) {
        let got = max_on(&series, day);
        assert!((got - (80.0 + swing(day))).abs() < 0.2, "{day}: {got}");
        assert_eq!(estimate_on(&series, day).method, FillMethod::FallBacks);
    }
    assert!(estimate_on(&series, date(5, 6)).error_f < 0.5);
}

#[test]
fn the_fall_back_that_served_better_counts_more() {
    // One fall-back shows the same weather, the other one's swings come four days late.
    let mut own = days(12, 0.0, 1.0);
    hide(&mut own, date(5, 3), date(5, 12));
    let mut late = days(12, 0.0, 1.0);
    for day in &mut late {
        let four_days_before = swing(day.date.checked_sub_days(Days::new(3)).unwrap());
        day.max = Some(80.0 + four_days_before);
        day.min = Some(50.0 + four_days_before);
    }
    let series = completed(&own, &[late, days(12, 3.0, 1.0)]);
    for day in date(5, 3).iter_days().take_while(|day| *day <= date(5, 12)) {
        let got = max_on(&series, day);
        assert!((got - (80.0 + swing(day))).abs() < 1.0, "{day}: {got}");
    }
}

#[test]
fn what_differs_on_the_days_around_is_carried_into_the_gap() {
    // For three weeks around the gap the station is 3 °F warmer against its fall-back than it used to be.
    let mut own = days(12, 0.0, 1.0);
    for day in own
        .iter_mut()
        .filter(|day| (date(4, 20)..=date(5, 20)).contains(&day.date))
    {
        day.max = day.max.map(|max| max + 3.0);
    }
    hide(&mut own, date(5, 5), date(5, 5));
    let series = completed(&own, &[days(12, 0.0, 1.0)]);
    let got = max_on(&series, date(5, 5)) - (80.0 + swing(date(5, 5)));
    // Nine tenths a day: the fifteen days of 3 °F on each side weigh 7.15, all before and after 9, and one
    // of no difference is added: 3 · 14.3 / 19 = 2.26.
    assert!((got - 2.26).abs() < 0.05, "{got}");
}

#[test]
fn only_a_fall_back_goes_on_where_the_record_ends() {
    let mut own = days(12, 0.0, 1.0);
    own.retain(|day| day.date <= date(6, 20));
    let alone = completed(&own, &[]);
    assert_eq!(on(&alone, date(6, 21)), None);
    let mut other = days(12, -10.0, 1.0);
    other.retain(|day| day.date <= date(6, 28));
    let series = completed(&own, &[other]);
    let got = max_on(&series, date(6, 28));
    assert!((got - (80.0 + swing(date(6, 28)))).abs() < 0.2, "{got}");
    assert_eq!(on(&series, date(6, 29)), None);
}

#[test]
fn one_missing_element_leaves_the_other_as_it_was_read() {
    let mut own = days(12, 0.0, 1.0);
    let hidden = own.iter_mut().find(|day| day.date == date(5, 5)).unwrap();
    hidden.min = None;
    let day = on(&completed(&own, &[]), date(5, 5)).unwrap();
    assert_eq!(day.max, Origin::Measured);
    assert_eq!(day.min.estimate().unwrap().method, FillMethod::Interpolated);
    assert_eq!(day.extremes.max().fahrenheit(), 80.0 + swing(date(5, 5)));
}

#[test]
fn far_from_both_ends_of_a_gap_the_climate_stands_in() {
    let mut own = days(12, 0.0, 1.0);
    hide(&mut own, date(5, 2), date(5, 29));
    let series = completed(&own, &[]);
    assert_eq!(
        estimate_on(&series, date(5, 2)).method,
        FillMethod::Interpolated
    );
    let middle = estimate_on(&series, date(5, 15));
    assert_eq!(middle.method, FillMethod::Climate);
    // Swings of 6 °F about 80: that is what is usual and what it is off by.
    assert!((max_on(&series, date(5, 15)) - 80.0).abs() < 0.5);
    assert!((middle.error_f - 6.0).abs() < 0.3, "{middle:?}");
    assert!(estimate_on(&series, date(5, 2)).error_f < middle.error_f);
}

#[test]
fn more_than_thirty_days_stay_open() {
    let check = |last: NaiveDate, filled: bool| {
        let mut own = days(12, 0.0, 1.0);
        hide(&mut own, date(5, 2), last);
        let day = on(&completed(&own, &[]), date(5, 15));
        assert_eq!(day.is_some(), filled, "{last}");
    };
    check(date(5, 31), true);
    check(date(6, 1), false);
}

#[test]
fn a_short_record_has_straight_lines_over_five_days_at_most() {
    let check = |last: NaiveDate, filled: bool| {
        let mut own = days(0, 0.0, 1.0);
        hide(&mut own, date(5, 2), last);
        let series = completed(&own, &[]);
        assert_eq!(on(&series, date(5, 3)).is_some(), filled, "{last}");
        if filled {
            let (left, right) = (80.0 + swing(date(5, 1)), 80.0 + swing(date(5, 7)));
            let got = max_on(&series, date(5, 4));
            assert!((got - f64::midpoint(left, right)).abs() < 1e-9, "{got}");
            // 8 °F, the usual deviation of a maximum, times √0.45.
            let error = estimate_on(&series, date(5, 4)).error_f;
            assert!((error - 5.367).abs() < 1e-3, "{error}");
        }
    };
    check(date(5, 6), true);
    check(date(5, 7), false);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// Days that were read stay as they are, an estimate never crosses the other temperature of its day,
    /// and neither the order of fall-backs nor a second time makes any difference.
    #[test]
    fn what_was_read_stays_and_nothing_is_crossed(
        hidden in prop::collection::vec((0_u64..540, 1_u64..40, any::<bool>(), any::<bool>()), 1..8),
        warmer in -12.0..12.0_f64,
        more in 0.2..2.0_f64,
    ) {
        let mut own = days(7, 0.0, 1.0);
        for (back, length, min, max) in hidden {
            let first = AS_OF.checked_sub_days(Days::new(back)).unwrap();
            let last = first.checked_add_days(Days::new(length)).unwrap();
            for day in own.iter_mut().filter(|day| (first..=last).contains(&day.date)) {
                day.min = day.min.filter(|_| !min);
                day.max = day.max.filter(|_| !max);
            }
        }
        let (one, two) = (days(7, warmer, more), days(6, -warmer, 1.0));
        let series = completed(&own, &[one.clone(), two.clone()]);
        for day in &own {
            let Some(done) = on(&series, day.date) else { continue };
            if let Some(min) = day.min {
                prop_assert_eq!(done.extremes.min().fahrenheit(), min);
            }
            if let Some(max) = day.max {
                prop_assert_eq!(done.extremes.max().fahrenheit(), max);
            }
        }
        let turned = completed(&own, &[two, one]);
        for (a, b) in series.days().iter().zip(turned.days()) {
            let max = |day: &Option<CompletedDay>| day.map(|day| day.extremes.max().fahrenheit());
            let apart = max(a).zip(max(b)).map_or(0.0, |(a, b)| (a - b).abs());
            prop_assert!(apart < 1e-9 && a.is_some() == b.is_some());
        }
    }
}
