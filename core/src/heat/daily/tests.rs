//! The degree-days of one day against reference values, and what must hold for any day.

use proptest::prelude::*;

use super::*;
use crate::temperature::Unit;

/// Room for rounding in comparisons of values that are equal or ordered exactly on paper.
const ROUNDING: f64 = 1e-9;

fn f(value: f64) -> Temperature {
    Temperature::new(value, Unit::Fahrenheit).unwrap()
}

fn model_between(lower: f64, upper: f64, method: Method, cutoff: Cutoff) -> HeatModel {
    let thresholds = Thresholds::new(f(lower), f(upper)).unwrap();
    HeatModel::new(thresholds, method, cutoff).unwrap()
}

fn model(method: Method, cutoff: Cutoff) -> HeatModel {
    model_between(55.0, 94.0, method, cutoff)
}

fn heat(model: HeatModel, min: f64, max: f64, next_min: f64) -> f64 {
    let day = Extremes::new(f(min), f(max)).unwrap();
    let degree_days = model.daily(day, Some(f(next_min))).unwrap();
    degree_days.fahrenheit_days()
}

/// Every defined pair of a curve method and a cutoff.
fn curve_models() -> Vec<HeatModel> {
    let methods = Method::ALL.into_iter().filter(|m| m.curve().is_some());
    methods
        .flat_map(|method| Cutoff::ALL.map(|cutoff| model(method, cutoff)))
        .collect()
}

/// Every defined model: the pairs above and the averages.
fn all_models() -> Vec<HeatModel> {
    let averages = Method::ALL.into_iter().filter(|m| m.curve().is_none());
    let averages = averages.map(|method| model(method, Cutoff::None));
    curve_models().into_iter().chain(averages).collect()
}

fn check(model: HeatModel, min: f64, max: f64, next_min: f64, expected: f64) {
    let got = heat(model, min, max, next_min);
    let (method, cutoff) = (model.method(), model.cutoff());
    assert!(
        (got - expected).abs() <= 1e-4,
        "{method} {cutoff}, {min} to {max}, then {next_min}: {got}, expected {expected}"
    );
}

/// The rows of a table of reference values: each column's name with its number.
fn rows(table: &str) -> Vec<Vec<(&str, f64)>> {
    let mut lines = table.lines().map(|line| line.split(','));
    let names: Vec<_> = lines.next().unwrap().collect();
    let numbers = lines.map(|line| line.map(|cell| cell.parse().unwrap()));
    numbers
        .map(|row| names.iter().copied().zip(row).collect())
        .collect()
}

/// Checks a table whose first columns are the day and the others named after method and cutoff.
fn check_table(table: &str, day_columns: usize, single_or_double: &str) {
    for row in rows(table) {
        let (day, expected) = row.split_at(day_columns);
        let next_min = day.get(2).unwrap_or(&day[0]).1;
        for &(column, value) in expected {
            let (method, cutoff) = match column.split_once('_') {
                Some((shape @ ("sine" | "triangle"), cutoff)) => {
                    (format!("{single_or_double}-{shape}"), cutoff)
                }
                _ => (column.replace('_', "-"), "none"),
            };
            let method = Method::ALL.into_iter().find(|m| m.name() == method);
            let cutoff = Cutoff::ALL.into_iter().find(|c| c.name() == cutoff);
            let model = model(method.unwrap(), cutoff.unwrap());
            check(model, day[0].1, day[1].1, next_min, value);
        }
    }
}

#[test]
fn single_methods_and_averages_give_the_reference_values() {
    let table = include_str!("../../../../tests/data/heat/single.csv");
    assert_eq!(table.lines().count(), 16);
    check_table(table, 2, "single");
}

#[test]
fn double_methods_give_the_reference_values() {
    let table = include_str!("../../../../tests/data/heat/double.csv");
    assert_eq!(table.lines().count(), 5);
    check_table(table, 3, "double");
}

#[test]
fn an_average_with_a_cutoff_is_not_defined() {
    let thresholds = Thresholds::new(f(55.0), f(94.0)).unwrap();
    for method in [Method::Average, Method::ClippedAverage] {
        for cutoff in Cutoff::ALL {
            let defined = HeatModel::new(thresholds, method, cutoff).is_ok();
            assert_eq!(defined, cutoff == Cutoff::None, "{method} {cutoff}");
        }
    }
}

#[test]
fn only_double_methods_need_the_next_minimum() {
    let day = Extremes::new(f(60.0), f(90.0)).unwrap();
    for method in Method::ALL {
        let told = model(method, Cutoff::None).daily(day, None).is_some();
        assert_eq!(told, !method.needs_next_min(), "{method}");
    }
}

#[test]
fn a_front_that_leaves_the_next_minimum_above_the_maximum_still_has_a_curve() {
    // Rising half 50 to 60, falling half "down" to 66: sums of two triangles, by hand.
    let double = model(Method::DoubleTriangle, Cutoff::None);
    let expected = f64::midpoint(5.0 * 5.0 / 20.0, 8.0);
    check(double, 50.0, 60.0, 66.0, expected);
}

#[test]
fn the_cap_of_a_sine_is_that_of_its_angle() {
    // Of a sine of range 2 whose crest lies `height` above a threshold: half the angle above it is
    // `arccos(1 - height)`, written so that no digits are lost near the crest.
    for step in 0..=1000 {
        let height = f64::from(step) / 1000.0;
        let angle = 2.0 * height.sqrt().atan2((2.0 - height).sqrt());
        let area = (angle.sin() - (1.0 - height) * angle) / PI;
        let got = sine_cap(height, 2.0);
        assert!((got - area).abs() < 1e-12, "{height}: {got}, {area}");
    }
}

/// A day as minimum and maximum, °F.
fn any_day() -> impl Strategy<Value = (f64, f64)> {
    (-20.0..130.0_f64, 0.0..70.0_f64).prop_map(|(min, range)| (min, min + range))
}

/// A day that never gets so hot that the intermediate cutoff would count below zero.
fn day_below_twice_the_upper() -> impl Strategy<Value = (f64, f64)> {
    (-20.0..=133.0, 0.0..=1.0).prop_map(|(max, share): (f64, f64)| (max - 60.0 * share, max))
}

proptest! {
    #[test]
    fn a_warmer_day_never_gives_less((min, max) in any_day(), next in -20.0..130.0_f64, more in 0.0..20.0_f64) {
        for model in all_models() {
            if matches!(model.cutoff(), Cutoff::None | Cutoff::Horizontal) {
                let now = heat(model, min, max, next);
                prop_assert!(heat(model, min, max + more, next) >= now - ROUNDING);
                prop_assert!(heat(model, f64::min(min + more, max), max, next) >= now - ROUNDING);
                prop_assert!(heat(model, min, max, next + more) >= now - ROUNDING);
            }
        }
    }

    #[test]
    fn no_day_gives_more_than_the_thresholds_leave((min, max) in any_day(), next in -20.0..130.0_f64) {
        for model in all_models() {
            let got = heat(model, min, max, next);
            prop_assert!(got >= 0.0, "{model:?} gave {got}");
            let clipped = model.method() == Method::ClippedAverage;
            if clipped || matches!(model.cutoff(), Cutoff::Horizontal | Cutoff::Vertical) {
                prop_assert!(got <= 94.0 - 55.0 + ROUNDING, "{model:?} gave {got}");
            }
        }
    }

    #[test]
    fn a_stricter_cutoff_never_gives_more((min, max) in day_below_twice_the_upper(), next in -20.0..130.0_f64) {
        use Cutoff::{Horizontal, Intermediate, None, Vertical};
        let next = next.min(max);
        for method in Method::ALL.into_iter().filter(|m| m.curve().is_some()) {
            let given = [Vertical, Intermediate, Horizontal, None]
                .map(|cutoff| heat(model(method, cutoff), min, max, next));
            let rising = given.is_sorted_by(|less, more| *less <= more + ROUNDING);
            prop_assert!(rising, "{method}: {given:?}");
        }
    }

    #[test]
    fn only_distances_from_the_thresholds_count(
        (min, max) in any_day(), next in -20.0..130.0_f64, shift in -50.0..50.0, scale in 0.1..3.0_f64,
    ) {
        let moved = |t: f64| shift + scale * t;
        for model in all_models() {
            // At the jump of the vertical cutoff rounding alone decides; keep off it.
            let jump = model.cutoff() == Cutoff::Vertical;
            if jump && [min, max, next].iter().any(|t| (t - 94.0).abs() < 1e-3) {
                continue;
            }
            let (method, cutoff) = (model.method(), model.cutoff());
            let other = model_between(moved(55.0), moved(94.0), method, cutoff);
            let got = heat(other, moved(min), moved(max), moved(next));
            let expected = scale * heat(model, min, max, next);
            prop_assert!((got - expected).abs() < 1e-8, "{model:?}: {got}, {expected}");
        }
    }

    #[test]
    fn double_is_single_when_the_next_minimum_is_the_same((min, max) in any_day()) {
        let pairs = [
            (Method::SingleSine, Method::DoubleSine),
            (Method::SingleTriangle, Method::DoubleTriangle),
        ];
        for (single, double) in pairs {
            for cutoff in Cutoff::ALL {
                let of = |method| heat(model(method, cutoff), min, max, min);
                prop_assert!((of(single) - of(double)).abs() < ROUNDING, "{single} {cutoff}");
            }
        }
    }

    #[test]
    fn between_the_thresholds_every_single_method_is_the_average(
        min in 55.0..=94.0, share in 0.0..=1.0_f64,
    ) {
        let max = min + (94.0 - min) * share;
        let average = f64::midpoint(min, max) - 55.0;
        for method in Method::ALL.into_iter().filter(|m| !m.needs_next_min()) {
            let got = heat(model(method, Cutoff::None), min, max, min);
            prop_assert!((got - average).abs() < ROUNDING, "{method}: {got}, {average}");
        }
        for model in curve_models().into_iter().filter(|m| !m.method().needs_next_min()) {
            let got = heat(model, min, max, min);
            prop_assert!((got - average).abs() < ROUNDING, "{model:?}: {got}, {average}");
        }
    }
}
