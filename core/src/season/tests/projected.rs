//! Projected instants: by past years, by days that are forecast, and blind to what comes later.

use proptest::prelude::*;

use super::*;
use crate::temperature::DegreeDays;

const TARGET: f64 = 1056.0;

fn target() -> DegreeDays {
    DegreeDays::from_fahrenheit_days(TARGET)
}

fn check(got: f64, expected: f64) {
    assert!((got - expected).abs() < 0.02, "{got} {expected}");
}

/// Two past years at 20 degree-days a day, and this season at 20 before `as_of`.
fn steady(as_of: NaiveDate) -> Vec<ReceivedDay> {
    year_of(2019, 20.0)
        .chain(year_of(2020, 20.0))
        .chain(year_of(2021, 20.0).filter(|day| day.date < as_of))
        .collect()
}

#[test]
fn a_projected_instant_is_a_day_of_the_year_with_its_share() {
    // Squares 1/2, products 0: warming 60 / 1000.5 = 0.06; the past years have 20.12 and 20.06 a
    // day, and this season is 0.09 colder than their mean.
    // Known to 20 June: 51 days, 1020; 36 left. The week carries -0.045, the sixty days -0.011:
    // 36.1 at 20.12 and 20.06 is 1.794 and 1.799 days after the 171st, in the middle 172.80 + 1.
    let as_of = date(2021, 6, 21);
    let projected =
        projected_crossing(&heat(&steady(as_of), as_of), date(2021, 5, 1), target()).unwrap();
    check(projected.middle, 172.0 + 1.797);
    // 1.3634 (11 degrees of freedom) · √(0.16 · 1.797 · 10/11 · 3/2) = 0.854 days to each side.
    check(projected.early, 172.0 + 0.943);
    check(projected.late, 172.0 + 2.651);
    let printed = [21, 22, 23].map(|day| date(2021, 6, day));
    assert_eq!(projected.printed, printed);
    assert_eq!(projected.past_years, 2);
}

#[test]
fn the_true_instant_is_read_off_the_record() {
    // 1056 at 20 a day: 52.8 days from 1 May, the 121st day of the year.
    let known = heat(&steady(date(2022, 1, 1)), date(2022, 1, 1));
    let truth = true_crossing(&known, date(2021, 5, 1), target()).unwrap();
    check(truth.at, 121.0 + 52.8);
    assert_eq!(truth.printed, date(2021, 6, 22));
    check(truth.estimated_share, 0.0);
    let none = true_crossing(&known, date(2021, 12, 1), target());
    assert_eq!(none, Err(WhyNoCrossing::NotReached));
}

#[test]
fn what_is_reached_or_has_a_gap_is_not_projected() {
    let as_of = date(2021, 7, 1);
    let known = heat(&steady(as_of), as_of);
    let reached = projected_crossing(&known, date(2021, 5, 1), target());
    assert_eq!(reached, Err(WhyNoCrossing::Reached));
    let with_gap: Vec<_> = steady(as_of)
        .into_iter()
        .filter(|day| !(date(2021, 6, 1)..date(2021, 6, 10)).contains(&day.date))
        .collect();
    let gap = projected_crossing(&heat(&with_gap, as_of), date(2021, 5, 1), target());
    let why = no_temperatures(Some(date(2021, 6, 1)));
    assert_eq!(gap, Err(why.into()));
}

#[test]
fn the_projection_of_a_hindcast_is_that_of_the_mark() {
    let as_of = date(2021, 5, 10);
    let mark = projection(&season(&started(), as_of), "second-generation");
    let hindcast =
        projected_crossing(&heat(&received(as_of), as_of), date(2021, 5, 1), target()).unwrap();
    let printed = [mark.weather_early, mark.middle, mark.weather_late];
    assert_eq!(hindcast.printed, printed);
}

/// Days forecast from `as_of` on, at so many degree-days each.
fn forecast(as_of: NaiveDate, degree_days: &[f64]) -> Vec<ReceivedDay> {
    let days = as_of.iter_days().zip(degree_days);
    days.map(|(day, heat)| warm(day, *heat)).collect()
}

fn with_forecast(as_of: NaiveDate, degree_days: &[f64]) -> StationHeat {
    let id = StationId::new("S").unwrap();
    let ahead = forecast(as_of, degree_days);
    let weather = StationWeather::alone(id, &steady(as_of), as_of);
    StationHeat::with_forecast(&weather, &ahead, insect().heat)
}

#[test]
fn forecast_days_come_before_those_of_past_years() {
    // Known to 17 June: 48 days, 960; 96 left. Three forecast days of 30 leave 6, and 6 of 20 make
    // 0.3 days; without a forecast it is 4.8 days.
    let as_of = date(2021, 6, 18);
    let projected = |heat: &StationHeat| {
        projected_crossing(heat, date(2021, 5, 1), target())
            .unwrap()
            .middle
    };
    check(projected(&with_forecast(as_of, &[])), 169.0 + 4.79);
    check(projected(&with_forecast(as_of, &[30.0; 3])), 169.0 + 3.30);
}

#[test]
fn a_forecast_day_passes_no_mark() {
    // 1020 known by 20 June, and a forecast that would bring 60 a day: still a projection.
    let as_of = date(2021, 6, 21);
    let heat = with_forecast(as_of, &[25.0, 25.0]);
    assert_eq!(heat.newest(), Some(date(2021, 6, 20)));
    let orchard = Orchard::new(vec![block()], Vec::new(), Vec::new());
    let season = assess_alone(
        &orchard,
        (&block(), &insect()),
        &heat,
        &Visits::default(),
        &Notes::new(started()),
    );
    let second = projection(&season, "second-generation");
    assert_eq!(second.middle, date(2021, 6, 22));
    assert_eq!(second.weather_early, as_of);
}

proptest! {
    /// Whatever is received later, on the day of telling and after it, changes nothing.
    #[test]
    fn a_projection_is_blind_to_what_comes_later(
        ordinal in 110_u32..200,
        later in prop::collection::vec(0.0_f64..35.0, 1..120),
    ) {
        let as_of = NaiveDate::from_yo_opt(2021, ordinal).unwrap();
        let known = received(as_of);
        let mut more = known.clone();
        more.extend(as_of.iter_days().zip(&later).map(|(day, heat)| warm(day, *heat)));
        prop_assert_eq!(heat(&known, as_of), heat(&more, as_of));
        let projected = |days: &[ReceivedDay]| {
            projected_crossing(&heat(days, as_of), date(2021, 4, 1), target())
        };
        prop_assert_eq!(projected(&known), projected(&more));
    }

    /// Only years before the season say how it goes on: a later season's own days are no past year.
    #[test]
    fn a_season_is_not_its_own_past_year(daily in 5.0_f64..35.0) {
        let as_of = date(2018, 6, 1);
        let days: Vec<_> = year_of(2018, daily).filter(|day| day.date < as_of).collect();
        let projected = projected_crossing(&heat(&days, as_of), date(2018, 5, 1), target());
        prop_assert!(projected.is_err());
    }
}
