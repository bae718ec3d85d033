//! Sources of uncertainty joined, on instants that can be squared by hand.

use super::*;

fn year(at: Instant, low: Instant, high: Instant, from_check: Instant) -> Crossings {
    Crossings {
        at,
        low,
        high,
        from_check,
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
    // Weather 3 before and 12 after; the insect 4 before and 5 after: 5 and 13.
    let years = [year(100.0, 96.0, 105.0, 100.0)];
    assert_eq!(joined(&WEATHER, &years), (95.0, 113.0));
}

#[test]
fn the_check_interval_widens_only_the_early_side() {
    let years = [year(100.0, 100.0, 100.0, 96.0)];
    assert_eq!(joined(&WEATHER, &years), (95.0, 112.0));
}

#[test]
fn the_insects_spread_is_that_of_the_middle_year() {
    let years = [
        year(90.0, 88.0, 93.0, 90.0),
        year(100.0, 96.0, 105.0, 100.0),
        year(110.0, 104.0, 119.0, 110.0),
    ];
    assert_eq!(joined(&WEATHER, &years), (95.0, 113.0));
}
