//! Each check by hand-worked cases, and what must hold for any record.

use chrono::{Datelike, Days, NaiveDate};
use proptest::prelude::*;

use super::*;
use crate::temperature::Unit;
use crate::weather::{ByHand, Decision, ReceivedDay, StationFacts};

const FIRST: NaiveDate = NaiveDate::from_ymd_opt(2010, 1, 1).expect("a day of the calendar");

fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

/// A climate with a mean of 55 °F in winter and 75 in summer, 30 between minimum and maximum, and
/// departures that alternate by 4 °F every five days: their standard deviation is 4.
fn usual(date: NaiveDate) -> (f64, f64) {
    let turn = (f64::from(date.ordinal0()) - 105.0) / 365.0 * std::f64::consts::TAU;
    let swing = if date.num_days_from_ce() / 5 % 2 == 0 {
        4.0
    } else {
        -4.0
    };
    // So that no two days running are the same.
    let mean = 65.0 + 10.0 * turn.sin() + swing + f64::from(date.num_days_from_ce() % 3) * 0.1;
    (mean - 15.0, mean + 15.0)
}

fn received(date: NaiveDate, min: f64, max: f64) -> ReceivedDay {
    ReceivedDay {
        date,
        min: Some(min),
        max: Some(max),
        unit: Unit::Fahrenheit,
        min_flag: None,
        max_flag: None,
    }
}

/// A maximum so many standard deviations above what is usual.
fn warm(date: NaiveDate, deviations: f64) -> (NaiveDate, Option<f64>, Option<f64>) {
    let turn = (f64::from(date.ordinal0()) - 105.0) / 365.0 * std::f64::consts::TAU;
    (
        date,
        None,
        Some(80.0 + 10.0 * turn.sin() + 4.0 * deviations),
    )
}

/// That climate from 2010 to the day before.
fn usual_days(as_of: NaiveDate) -> Vec<ReceivedDay> {
    let days = FIRST.iter_days().take_while(|day| *day < as_of);
    days.map(|date| {
        let (min, max) = usual(date);
        received(date, min, max)
    })
    .collect()
}

fn day_of(days: &mut [ReceivedDay], date: NaiveDate) -> &mut ReceivedDay {
    days.iter_mut().find(|day| day.date == date).unwrap()
}

/// Twelve years of that climate, with some values put in: day, minimum and maximum.
fn record(put: &[(NaiveDate, Option<f64>, Option<f64>)]) -> (Record, Climate) {
    let as_of = date(2022, 1, 1);
    let mut days = usual_days(as_of);
    for (date, min, max) in put {
        let day = day_of(&mut days, *date);
        (day.min, day.max) = (min.or(day.min), max.or(day.max));
    }
    let record = Record::lay(&days, &[], &StationFacts::default(), as_of).unwrap();
    let climate = Climate::before(&record, 2022);
    (record, climate)
}

fn departures_of(record: &Record, climate: &Climate) -> [Departures; 2] {
    Element::ALL.map(|element| Departures::new(record, climate, element))
}

fn reasons(put: &[(NaiveDate, Option<f64>, Option<f64>)]) -> Vec<(NaiveDate, Element, Suspicion)> {
    let (mut record, climate) = record(put);
    let departures = screen(&mut record, &climate);
    // What goes on to filling is what the marked record itself would give.
    assert_eq!(departures, departures_of(&record, &climate));
    let suspects = record.suspects();
    suspects
        .map(|(date, element, _, why)| (date, element, why))
        .collect()
}

#[test]
fn the_days_of_a_climate_are_not_suspected() {
    assert_eq!(reasons(&[]), []);
}

#[test]
fn each_kind_of_error_has_its_reason() {
    use Element::{Max, Min};
    let day = date(2020, 7, 10);
    let (min, max) = usual(day);
    let cases = [
        // 4 °F is one deviation: 24 are six, and twelve with its own swing are beyond both sides.
        (
            day,
            (None, Some(max + 28.0)),
            (Max, Suspicion::BeyondClimate),
        ),
        (
            day,
            (Some(min - 28.0), None),
            (Min, Suspicion::BeyondClimate),
        ),
        (
            date(2020, 1, 15),
            (Some(0.0), None),
            (Min, Suspicion::FalseZero),
        ),
        // Four deviations up between days that are one up: 0.9 of it is expected.
        (day, (None, Some(max + 16.0)), (Max, Suspicion::Spike)),
        // Freezing exactly, two deviations below what the days beside let expect.
        (
            date(2020, 4, 12),
            (Some(32.0), None),
            (Min, Suspicion::FalseZero),
        ),
    ];
    for (day, (min, max), (element, why)) in cases {
        assert_eq!(
            reasons(&[(day, min, max)]),
            [(day, element, why)],
            "{day} {min:?} {max:?}"
        );
    }
}

#[test]
fn a_true_freezing_point_is_kept() {
    // Winter minima here are 36 to 44 °F: 32.0 beside 33 and 34 is a cold spell, not a reset.
    let day = |d| date(2020, 1, d);
    let cold = [
        (day(14), Some(33.0), None),
        (day(15), Some(32.0), None),
        (day(16), Some(34.0), None),
    ];
    assert_eq!(reasons(&cold), []);
}

#[test]
fn loggers_reset_on_two_days_running_are_both_found() {
    let day = |d| date(2020, 4, d);
    let put = [(day(14), Some(32.0), None), (day(15), Some(32.0), None)];
    let why = |d| (day(d), Element::Min, Suspicion::FalseZero);
    assert_eq!(reasons(&put), [why(14), why(15)]);
}

#[test]
fn a_heat_wave_of_110_is_kept() {
    // Six days of 104 to 110 °F (43.3 °C) where 94 to 102 are usual.
    let heights = [104.0, 108.0, 110.0, 110.3, 109.0, 105.0];
    let wave: Vec<_> = (10..)
        .zip(heights)
        .map(|(d, max)| (date(2020, 7, d), None, Some(max)))
        .collect();
    assert_eq!(reasons(&wave), []);
}

#[test]
fn a_failing_sensor_is_followed_and_says_nothing_of_days_long_before() {
    // 150 °F cannot be; four deviations on the day before and those after could, were they not beside it.
    // Two days before, nothing was known of it yet.
    let day = |d| date(2020, 7, d);
    let put = [
        warm(day(9), 4.0),
        warm(day(10), 4.0),
        warm(day(11), 15.0),
        warm(day(12), 4.0),
        warm(day(13), 4.0),
    ];
    let found = reasons(&put);
    let why = |d, why| (day(d), Element::Max, why);
    assert_eq!(
        found,
        [
            why(10, Suspicion::BesideFailure),
            why(11, Suspicion::OutOfBounds),
            why(12, Suspicion::BesideFailure),
            why(13, Suspicion::BesideFailure),
        ]
    );
}

#[test]
fn fifteen_equal_values_are_a_stuck_sensor_and_fourteen_may_be_chance() {
    let stuck = |days: u64| -> usize {
        let put: Vec<_> = (0..days)
            .map(|n| {
                (
                    date(2020, 9, 1).checked_add_days(Days::new(n)).unwrap(),
                    Some(57.0),
                    None,
                )
            })
            .collect();
        let found = reasons(&put);
        found
            .iter()
            .filter(|(_, _, why)| *why == Suspicion::Stuck)
            .count()
    };
    assert_eq!((stuck(14), stuck(15), stuck(30)), (0, 15, 30));
}

#[test]
fn a_fall_back_that_shows_nothing_of_it_speaks_against_a_value() {
    // Four deviations for four days running are neither a spike nor beyond the climate.
    let day = |d| date(2020, 7, d);
    let put: Vec<_> = (4..8).map(|d| warm(day(d), 4.2)).collect();
    let (mut own, climate) = record(&put);
    let mut own_departures = screen(&mut own, &climate);
    assert_eq!(own.suspects().collect::<Vec<_>>(), []);
    let (other, other_climate) = record(&[]);
    let departures = departures_of(&other, &other_climate);
    compare(&mut own, &mut own_departures, &[&departures]);
    let found: Vec<_> = own
        .suspects()
        .map(|(date, element, _, why)| (date, element, why))
        .collect();
    let why = |d| (day(d), Element::Max, Suspicion::ApartFromFallBacks);
    assert_eq!(found, [why(4), why(5), why(6), why(7)]);
    // The same warmth there is weather.
    let (mut own, climate) = record(&put);
    let mut own_departures = departures_of(&own, &climate);
    let (other, other_climate) = record(&put);
    let departures = departures_of(&other, &other_climate);
    compare(&mut own, &mut own_departures, &[&departures]);
    assert_eq!(own.suspects().count(), 0);
}

#[test]
fn a_fall_back_that_labels_a_day_late_is_no_reason_to_doubt() {
    let put: Vec<_> = (9..12).map(|d| warm(date(2020, 7, d), 4.0)).collect();
    let late: Vec<_> = (10..13).map(|d| warm(date(2020, 7, d), 4.0)).collect();
    let (mut own, climate) = record(&put);
    let mut own_departures = departures_of(&own, &climate);
    let (other, other_climate) = record(&late);
    let departures = departures_of(&other, &other_climate);
    compare(&mut own, &mut own_departures, &[&departures]);
    assert_eq!(own.suspects().collect::<Vec<_>>(), []);
}

#[test]
fn a_record_too_short_for_a_climate_is_judged_by_the_days_around() {
    let days: Vec<ReceivedDay> = (1..=20)
        .map(|d| {
            let (min, max) = usual(date(2020, 7, d));
            received(
                date(2020, 7, d),
                if d == 9 { 32.0 } else { min },
                if d == 14 { max + 28.0 } else { max },
            )
        })
        .collect();
    let mut record = Record::lay(&days, &[], &StationFacts::default(), date(2020, 7, 21)).unwrap();
    let climate = Climate::before(&record, 2020);
    screen(&mut record, &climate);
    let found: Vec<_> = record
        .suspects()
        .map(|(date, _, _, why)| (date.day(), why))
        .collect();
    assert_eq!(found, [(9, Suspicion::FalseZero), (14, Suspicion::Spike)]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// What is known of a day, and of the one after it, decides; days still to come change nothing. A
    /// run of equal values is the one exception: it grows with every day.
    #[test]
    fn later_days_change_no_verdict_on_earlier_ones(
        put in prop::collection::vec((1_u32..=90, 0.0..130.0, 0.0..130.0), 0..12),
        cut in 30_u32..80,
    ) {
        let mut days = usual_days(date(2021, 4, 1));
        for (ordinal, min, max) in put {
            let date = NaiveDate::from_yo_opt(2021, ordinal).unwrap();
            *day_of(&mut days, date) = received(date, min, max);
        }
        let cut = NaiveDate::from_yo_opt(2021, cut).unwrap();
        let verdicts = |as_of: NaiveDate| {
            let mut record = Record::lay(&days, &[], &StationFacts::default(), as_of).unwrap();
            let climate = Climate::before(&record, 2021);
            screen(&mut record, &climate);
            let before = record.suspects().filter(|(date, ..)| *date < cut.pred_opt().unwrap());
            before
                .map(|(date, element, _, why)| (date, element, why))
                .collect::<Vec<_>>()
        };
        prop_assert_eq!(verdicts(cut), verdicts(date(2021, 4, 1)));
    }

    #[test]
    fn what_somebody_vouched_for_is_never_suspected(
        at in 0_u64..4_300, value in -40.0..130.0_f64,
    ) {
        let day = FIRST.checked_add_days(Days::new(at)).unwrap();
        let as_of = date(2022, 1, 1);
        let days = usual_days(as_of);
        let by_hand = ByHand {
            date: day,
            element: Element::Min,
            decision: Decision::Corrected { value_f: value },
        };
        let facts = StationFacts::default();
        let mut record = Record::lay(&days, &[by_hand], &facts, as_of).unwrap();
        let climate = Climate::before(&record, 2022);
        screen(&mut record, &climate);
        let cell = record.cells(Element::Min)[record.position(day).unwrap()];
        prop_assert_eq!(cell, Cell::ByHand(value));
    }
}
