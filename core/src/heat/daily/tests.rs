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

fn check(model: HeatModel, min: f64, max: f64, next_min: f64, expected: f64) {
    let got = heat(model, min, max, next_min);
    let (method, cutoff) = (model.method(), model.cutoff());
    assert!(
        (got - expected).abs() <= 1e-4,
        "{method} {cutoff}, {min} to {max}, then {next_min}: {got}, expected {expected}"
    );
}

/// Minimum, maximum, then degree-days at 55/94 °F: sine horizontal, intermediate, vertical, none;
/// triangle likewise; average; clipped average. The curves by numerical integration, 1e-4.
#[rustfmt::skip]
const SINGLE: [[f64; 12]; 15] = [
    [ 35.,  55.,  0.,      0.,      0.,      0.,      0.,      0.,      0.,      0.,      0.,   0. ],
    [ 40.,  60.,  1.0900,  1.0900,  1.0900,  1.0900,  0.6250,  0.6250,  0.6250,  0.6250,  0.,   2.5],
    [ 45.,  70.,  5.3087,  5.3087,  5.3087,  5.3087,  4.5000,  4.5000,  4.5000,  4.5000,  2.5,  7.5],
    [ 38.,  72.,  5.4113,  5.4113,  5.4113,  5.4113,  4.2500,  4.2500,  4.2500,  4.2500,  0.,   8.5],
    [ 50.,  75.,  8.4693,  8.4693,  8.4693,  8.4693,  8.0000,  8.0000,  8.0000,  8.0000,  7.5, 10.0],
    [ 60.,  90., 20.,     20.,     20.,     20.,     20.,     20.,     20.,     20.,     20.0, 20.0],
    [ 55.,  94., 19.5,    19.5,    19.5,    19.5,    19.5,    19.5,    19.5,    19.5,    19.5, 19.5],
    [ 60., 100., 23.9982, 22.9964, 14.1240, 25.0000, 24.5500, 24.1000, 18.7000, 25.0000, 25.0, 22.0],
    [ 65., 104., 27.2906, 25.0812, 14.1076, 29.5000, 28.2179, 26.9359, 18.2179, 29.5000, 29.5, 24.5],
    [ 50., 100., 19.7848, 18.8917, 11.0021, 20.6780, 19.8900, 19.5300, 15.2100, 20.2500, 20.0, 19.5],
    [ 48., 105., 20.4613, 18.3681,  9.1690, 22.5544, 20.8684, 19.8070, 13.3421, 21.9298, 21.5, 19.5],
    [ 40., 100., 17.4563, 16.6428,  9.4679, 18.2699, 16.5750, 16.2750, 12.6750, 16.8750, 15.0, 19.5],
    [ 72., 110., 31.3766, 26.7531, 13.8449, 36.0000, 32.6316, 29.2632, 16.2105, 36.0000, 36.0, 28.0],
    [ 96., 110., 39.,     30.,      0.,     48.,     39.,     30.,      0.,     48.,     48.0, 39.0],
    [100., 100., 39.,     33.,      0.,     45.,     39.,     33.,      0.,     45.,     45.0, 39.0],
];

#[test]
fn single_methods_and_averages_give_the_reference_values() {
    use Cutoff::{Horizontal, Intermediate, None, Vertical};
    let cutoffs = [Horizontal, Intermediate, Vertical, None];
    let curves = [Method::SingleSine, Method::SingleTriangle]
        .into_iter()
        .flat_map(|method| cutoffs.map(|cutoff| model(method, cutoff)));
    let averages = [Method::Average, Method::ClippedAverage].map(|m| model(m, None));
    let models: Vec<_> = curves.chain(averages).collect();
    for row in SINGLE {
        for (model, expected) in models.iter().zip(&row[2..]) {
            check(*model, row[0], row[1], row[0], *expected);
        }
    }
}

/// Minimum, maximum, next minimum, then degree-days at 55/94 °F: sine horizontal, intermediate,
/// vertical; triangle likewise. By numerical integration, 1e-4.
#[rustfmt::skip]
const DOUBLE: [[f64; 9]; 4] = [
    [45.,  75., 52.,  8.2543,  8.2543,  8.2543,  7.6812,  7.6812,  7.6812],
    [50., 100., 60., 21.8915, 20.9440, 12.5631, 22.2200, 21.8150, 16.9550],
    [60.,  98., 66., 24.9176, 24.3352, 16.3296, 25.2697, 25.0395, 20.7796],
    [58., 105., 49., 22.4572, 20.2429, 10.4883, 23.2269, 22.0431, 14.8327],
];

#[test]
fn double_methods_give_the_reference_values() {
    let cutoffs = [Cutoff::Horizontal, Cutoff::Intermediate, Cutoff::Vertical];
    for [min, max, next_min, expected @ ..] in DOUBLE {
        let models = [Method::DoubleSine, Method::DoubleTriangle]
            .into_iter()
            .flat_map(|method| cutoffs.map(|cutoff| model(method, cutoff)));
        for (model, expected) in models.zip(expected) {
            check(model, min, max, next_min, expected);
        }
    }
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
        for model in curve_models() {
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
        for model in curve_models() {
            let got = heat(model, min, max, next);
            prop_assert!(got >= 0.0, "{model:?} gave {got}");
            if matches!(model.cutoff(), Cutoff::Horizontal | Cutoff::Vertical) {
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
        for model in curve_models() {
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
