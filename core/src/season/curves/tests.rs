use proptest::prelude::*;

use super::*;
use crate::season::Outcome;
use crate::season::tests::{date, heat, received, season_of, started};
use crate::weather::ReceivedDay;

fn curves(received: &[ReceivedDay], as_of: NaiveDate, until: NaiveDate) -> Option<HeatCurves> {
    let season = season_of(received, &started(), as_of);
    HeatCurves::new(&season, &heat(received, as_of), until)
}

fn fahrenheit(sum: DegreeDays) -> f64 {
    (sum.fahrenheit_days() * 1000.0).round() / 1000.0
}

#[test]
fn the_days_known_add_up_beside_the_same_days_of_earlier_years() {
    let as_of = date(2021, 5, 10);
    let curves = curves(&received(as_of), as_of, date(2021, 5, 31)).unwrap();
    // 20 a day from 1 May to the 9th.
    let known: Vec<f64> = curves.known.iter().map(|day| fahrenheit(day.sum)).collect();
    assert_eq!(known, [20., 40., 60., 80., 100., 120., 140., 160., 180.]);
    assert_eq!(curves.years, [2018, 2019, 2020]);
    // 16, 20 and 24 a day: after ten days 160, 200 and 240. Of three years all are shown.
    let tenth = &curves.band[9];
    assert_eq!(tenth.date, date(2021, 5, 10));
    let sums = [tenth.low, tenth.middle, tenth.high].map(fahrenheit);
    assert_eq!(sums, [160.0, 200.0, 240.0]);
    assert_eq!(curves.band.len(), 31);
    let ahead: Vec<NaiveDate> = curves.ahead.iter().map(|(day, _)| *day).collect();
    assert_eq!(
        (ahead[0], ahead[21]),
        (date(2021, 5, 10), date(2021, 5, 31))
    );
}

#[test]
fn the_middle_ahead_reaches_a_mark_on_the_middle_day_of_its_range() {
    let as_of = date(2021, 5, 10);
    let received = received(as_of);
    let season = season_of(&received, &started(), as_of);
    let of_mark =
        |reading: &&crate::season::MarkReading| reading.mark.as_str() == "second-generation";
    let Outcome::Projected(projection) = &season.marks.iter().find(of_mark).unwrap().outcome else {
        panic!("not projected");
    };
    let curves = curves(&received, as_of, date(2021, 8, 1)).unwrap();
    let mut ahead = curves.ahead.iter();
    let reached = ahead.find(|(_, sum)| sum.fahrenheit_days() >= 1056.0);
    assert_eq!(reached.unwrap().0, projection.middle);
}

#[test]
fn a_sum_before_a_day_is_known_or_that_of_past_years() {
    let as_of = date(2021, 5, 10);
    let curves = curves(&received(as_of), as_of, date(2021, 5, 31)).unwrap();
    let before = |day| curves.before(date(2021, 5, day)).map(fahrenheit);
    assert_eq!(before(1), Some(0.0));
    assert_eq!(before(10), Some(180.0));
    assert!(before(11) > before(10));
    assert_eq!(curves.before(date(2021, 4, 30)), None);
    assert_eq!(curves.before(date(2021, 7, 1)), None);
}

#[test]
fn a_year_with_a_day_missing_is_left_out() {
    let as_of = date(2021, 5, 10);
    let mut received = received(as_of);
    received.retain(|day| !(date(2019, 5, 12)..date(2019, 7, 20)).contains(&day.date));
    let curves = curves(&received, as_of, date(2021, 7, 31)).unwrap();
    assert!(!curves.years.contains(&2019));
}

#[test]
fn nothing_is_added_up_across_a_hole() {
    let as_of = date(2021, 7, 10);
    let mut received = received(as_of);
    received.retain(|day| !(date(2021, 5, 12)..date(2021, 7, 1)).contains(&day.date));
    let curves = curves(&received, as_of, date(2021, 7, 31)).unwrap();
    let hole = curves.hole.unwrap();
    assert_eq!(curves.known.last().unwrap().date.succ_opt(), Some(hole));
    assert_eq!(curves.ahead, []);
}

#[test]
fn without_temperatures_there_are_no_curves() {
    let as_of = date(2021, 5, 10);
    assert_eq!(curves(&[], as_of, date(2021, 5, 31)), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Seasons of any length: days ascend without a gap, the band is in order and rises.
    #[test]
    fn curves_ascend_and_bands_are_in_order(known in 1_u64..200, beyond in 0_u64..40) {
        let as_of = date(2021, 5, 1) + Days::new(known);
        let until = as_of + Days::new(beyond);
        let curves = curves(&received(as_of), as_of, until).unwrap();
        let known = curves.known.iter().map(|day| (day.date, day.sum));
        let line: Vec<_> = known.chain(curves.ahead.iter().copied()).collect();
        prop_assert_eq!(line.last().unwrap().0, until);
        for pair in line.windows(2) {
            prop_assert_eq!(pair[0].0.succ_opt(), Some(pair[1].0));
            prop_assert!(pair[0].1.fahrenheit_days() <= pair[1].1.fahrenheit_days());
        }
        for day in &curves.band {
            let [low, middle, high] = [day.low, day.middle, day.high].map(DegreeDays::fahrenheit_days);
            prop_assert!(low <= middle && middle <= high);
        }
    }
}
