//! Sources of uncertainty joined, on instants and levels that can be squared by hand.

use super::trajectory::whole_days;
use super::*;
use crate::sample;

fn year(at: Instant, low: Instant, high: Instant) -> Crossings {
    Crossings {
        at,
        low,
        high,
        reached: true,
    }
}

const WEATHER: WeatherRange = WeatherRange {
    early: 97.0,
    middle: 100.0,
    late: 112.0,
};

#[test]
fn independent_sources_add_as_squares_on_each_side() {
    // Weather 3 before and 12 after; insect, start and split 4 before and 5 after: 5 and 13.
    assert_eq!(joined(&WEATHER, &[year(100.0, 96.0, 105.0)]), (95.0, 113.0));
}

#[test]
fn what_widens_one_side_leaves_the_other() {
    assert_eq!(joined(&WEATHER, &[year(100.0, 96.0, 100.0)]), (95.0, 112.0));
}

#[test]
fn the_insects_spread_is_that_of_the_middle_year() {
    let years = [
        year(90.0, 88.0, 93.0),
        year(100.0, 96.0, 105.0),
        year(110.0, 104.0, 119.0),
    ];
    assert_eq!(joined(&WEATHER, &years), (95.0, 113.0));
}

#[test]
fn a_marks_own_spread_and_that_of_what_it_counts_from_add_as_squares() {
    // 1056 ± 90: 1.2816 · 90 = 115.34; with 48 before the start √(115.34² + 48²) = 124.93.
    let start = Levels {
        at: 500.0,
        low: 452.0,
        high: 500.0,
    };
    let second = start.after(&sample::insect().marks[1]);
    let close = |got: f64, expected: f64| assert!((got - expected).abs() < 0.01, "{got}");
    close(second.at, 1556.0);
    close(second.low, 1556.0 - 124.93);
    close(second.high, 1556.0 + 115.34);
}

#[test]
fn the_later_of_two_is_later_in_its_ends_too() {
    let levels = |low, at, high| Levels { at, low, high };
    let later = levels(900.0, 1000.0, 1100.0).max(levels(980.0, 980.0, 980.0));
    assert_eq!(later, levels(980.0, 1000.0, 1100.0));
}

#[test]
fn a_joint_range_holds_the_days_whose_noon_lies_in_it_and_that_of_its_middle() {
    let check = |range, expected| assert_eq!(whole_days(range), expected, "{range:?}");
    check([10.4, 12.2, 14.6], [10, 14]);
    check([10.6, 12.2, 14.4], [11, 13]);
    check([10.5, 12.2, 14.5], [10, 14]);
    check([10.6, 10.8, 10.9], [10, 10]);
}
