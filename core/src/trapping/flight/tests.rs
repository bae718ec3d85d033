//! One trap read every seven days from 8 March on, unless said otherwise, so that a count less 3 and
//! divided by 1.5 is the count it noticeably exceeds. No published algorithm: the rules are practice.

use std::collections::{BTreeMap, BTreeSet};

use chrono::Days;

use super::*;
use crate::id::{ProductId, TrapId};
use crate::orchard::{Part, Product};
use crate::sample;
use crate::trapping::Visit;

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

fn week(number: u64) -> NaiveDate {
    date(3, 1).checked_add_days(Days::new(7 * number)).unwrap()
}

struct Scene {
    block: Block,
    traps: Vec<Trap>,
    visits: Vec<Visit>,
    lapses: Vec<Lapse>,
    heat_a_day: Option<f64>,
    nuts_split: NaiveDate,
}

impl Scene {
    /// Weekly counts of one trap; heat of 10 °F-days a day.
    fn weekly(kind: TrapKind, counts: &[u32]) -> Self {
        let visits = counts.iter().zip(1..).map(|(&count, number)| Visit {
            males: (kind == TrapKind::Pheromone).then_some(count),
            moths: (kind == TrapKind::PheromonePpo).then_some(count),
            females: (kind == TrapKind::BaitBag).then_some(count),
            ..sample::visit("P1", week(number))
        });
        let mut scene = Self {
            block: sample::block(),
            traps: vec![sample::trap("P1", kind, date(3, 1))],
            visits: visits.collect(),
            lapses: Vec::new(),
            heat_a_day: Some(10.0),
            nuts_split: date(7, 21),
        };
        if kind != TrapKind::Pheromone {
            scene.block.regime = Regime::MatingDisruption;
        }
        scene
    }

    /// The lure past its life from the end of one week to the end of another.
    fn lapsed(mut self, due: u64, ended: Option<u64>) -> Self {
        self.lapses.push(Lapse {
            trap: self.traps[0].id.clone(),
            part: Part::Lure,
            since: date(3, 1),
            due: week(due),
            ended: ended.map(week),
        });
        self
    }

    fn read(self) -> Result<Flights, WhyNoFlights> {
        let liner = Product {
            id: ProductId::new("liner").unwrap(),
            part: Part::Liner,
            life_days: 400,
            source: "common practice, no source".into(),
            area_cm2: Some(465),
        };
        let traps: Vec<Trap> = self
            .traps
            .into_iter()
            .map(|trap| Trap {
                products: BTreeMap::from([(Part::Liner, liner.id.clone())]),
                ..trap
            })
            .collect();
        let orchard = Orchard::new(vec![self.block.clone()], traps, vec![liner]);
        let degree_days = DegreeDays::from_fahrenheit_days;
        let generation = |at, range: Option<(f64, f64)>| Generation {
            at: degree_days(at),
            range: range.map(|(low, high)| (degree_days(low), degree_days(high))),
        };
        let heat = |from: NaiveDate, to: NaiveDate| {
            Some(degree_days(
                (to - from).num_days() as f64 * self.heat_a_day?,
            ))
        };
        flights(
            &self.block,
            &FlightView {
                orchard: &orchard,
                visits: &Visits::new(self.visits),
                lapses: &self.lapses,
                as_of: date(10, 31),
                nuts_split: self.nuts_split,
                // 500 to 900 on new almonds are possible (Rijal 2018).
                generations: &[
                    generation(1056.0, None),
                    generation(723.0, Some((500.0, 900.0))),
                ],
                heat: &heat,
            },
        )
    }
}

fn males(counts: &[u32]) -> Flights {
    Scene::weekly(TrapKind::Pheromone, counts).read().unwrap()
}

fn by(day: &FlightDay) -> Option<NaiveDate> {
    day.round().map(|round| round.by)
}

fn days(flight: &Flight) -> [Option<NaiveDate>; 3] {
    [&flight.start, &flight.peak, &flight.end].map(by)
}

fn so_far(day: &FlightDay) -> SoFar {
    match day {
        FlightDay::NotYet { why } => *why,
        other => panic!("{other:?}"),
    }
}

fn why(day: &FlightDay) -> &WhyNoDay {
    match day {
        FlightDay::CannotTell { why } => why,
        other => panic!("{other:?}"),
    }
}

fn traps() -> Vec<TrapId> {
    vec![TrapId::new("P1").unwrap()]
}

#[test]
fn a_flight_starts_with_two_readings_up_peaks_at_the_highest_and_ends_back_at_the_low() {
    // The low is 0, so 3 and more are up: 5 and 9 in weeks 4 and 5. Smoothed, week 5 has
    // (2.5 + 9 + 3) / 14 a night, 1.04. Of 9, 6 is not noticeably less (9 < 12), 2 is (9 >= 6), and 1.
    // A third of 1.04 is 2.4 a week: weeks 7 and 8 are back.
    let found = males(&[0, 1, 0, 5, 9, 6, 2, 1, 0]);
    assert_eq!(found.flights.len(), 1);
    let flight = &found.flights[0];
    assert_eq!(days(flight), [4, 5, 7].map(|number| Some(week(number))));
    let start = flight.start.round().unwrap();
    assert_eq!((start.after, start.middle()), (week(3), date(3, 26)));
    assert_eq!(found.counted, Counted::Males);
    assert!(!found.may_be_starting);
}

#[test]
fn one_reading_up_is_too_early_to_say_and_then_none() {
    let found = males(&[0, 0, 8]);
    assert!(found.flights.is_empty() && found.may_be_starting);
    let found = males(&[0, 0, 8, 0, 1]);
    assert!(found.flights.is_empty() && !found.may_be_starting);
}

#[test]
fn as_the_season_goes_a_peak_waits_for_two_readings_below_it() {
    // 9 against 2: 9 >= 1.5 × 2 + 3.
    let check = |counts: &[u32], expected: SoFar| {
        let found = males(counts);
        assert_eq!(days(&found.flights[0]), [Some(week(3)), None, None]);
        assert_eq!(so_far(&found.flights[0].peak), expected);
    };
    check(&[0, 0, 4, 9], SoFar::StillRising);
    check(&[0, 0, 4, 9, 2], SoFar::NotLowerTwice);
    check(&[0, 0, 4, 9, 8, 8], SoFar::NotLowerTwice);
    // A third of the smoothed (2 + 9 + 1) / 14, and so of 6 moths a week, is 2.
    let found = males(&[0, 0, 4, 9, 2, 1]);
    assert_eq!(
        days(&found.flights[0]),
        [3, 4, 5].map(|number| Some(week(number)))
    );
}

#[test]
fn two_humps_nearer_than_any_generation_are_one_flight() {
    // Tops in weeks 4 and 7, 21 days apart. At 10 °F-days a day they are 210 apart, as in the first
    // flights of 2017 and 2018 (Rijal 2018: 18 and 19 days); at 30 a day 630, and 500 is possible.
    let counts = [0, 0, 6, 12, 3, 9, 14, 2, 1, 0];
    let at_heat = |heat_a_day| {
        let scene = Scene::weekly(TrapKind::Pheromone, &counts);
        Scene {
            heat_a_day,
            ..scene
        }
        .read()
        .unwrap()
        .flights
    };
    let one = at_heat(Some(10.0));
    assert_eq!(one.len(), 1);
    assert_eq!(days(&one[0]), [3, 7, 8].map(|number| Some(week(number))));
    assert_eq!(one[0].other_humps[0].by, week(4));
    let two = at_heat(Some(30.0));
    assert_eq!(two.len(), 2);
    assert_eq!(by(&two[1].start), Some(week(6)));
    assert_eq!(why(&two[0].end), &WhyNoDay::RoseAgain);
    assert_eq!(two[1].heat_between.unwrap().fahrenheit_days(), 630.0);
    assert_eq!(two[1].published.unwrap().at.fahrenheit_days(), 1056.0);
    // Without heat it is 21 days that part them.
    assert_eq!(at_heat(None).len(), 2);
}

#[test]
fn catches_from_the_first_readings_on_have_no_start_and_the_next_flight_no_number() {
    let scene = Scene::weekly(TrapKind::Pheromone, &[6, 14, 3, 0, 0, 6, 12, 1, 1]);
    let found = Scene {
        heat_a_day: Some(30.0),
        ..scene
    }
    .read()
    .unwrap()
    .flights;
    assert_eq!(why(&found[0].start), &WhyNoDay::CaughtFromFirst);
    assert_eq!(by(&found[0].peak), Some(week(2)));
    assert_eq!(
        (by(&found[1].start), found[1].published),
        (Some(week(6)), None)
    );
    let found = males(&[14, 6, 3, 0, 0]).flights;
    assert_eq!(why(&found[0].peak), &WhyNoDay::HighestAtFirst);
}

#[test]
fn a_start_after_a_long_time_without_readings_has_no_day() {
    // Weeks 3 to 5 are missed: 28 days between the readings of weeks 2 and 6.
    let mut scene = Scene::weekly(TrapKind::Pheromone, &[0, 0, 0, 0, 0, 30, 12]);
    scene.visits.drain(2..5);
    let flight = &scene.read().unwrap().flights[0];
    let expected = WhyNoDay::TooFewRead {
        from: date(3, 15),
        to: date(4, 12),
    };
    assert_eq!(why(&flight.start), &expected);
}

#[test]
fn a_fresh_lure_after_an_overdue_one_starts_no_flight() {
    // Past its life in weeks 6 and 7, whose zeros say nothing; changed at the end of week 7.
    let counts = [0, 0, 0, 0, 0, 0, 0, 8, 9, 2, 1];
    let plain = males(&counts);
    assert_eq!(by(&plain.flights[0].start), Some(week(8)));
    let lapsed = Scene::weekly(TrapKind::Pheromone, &counts).lapsed(5, Some(7));
    let found = lapsed.read().unwrap();
    assert_eq!((found.rounds, found.usable), (11, 9));
    let expected = WhyNoDay::FreshLure(traps());
    assert_eq!(why(&found.flights[0].start), &expected);
}

#[test]
fn lures_past_their_life_end_no_flight() {
    let counts = [0, 0, 5, 9, 8, 1, 0, 0];
    assert_eq!(by(&males(&counts).flights[0].end), Some(week(6)));
    let found = Scene::weekly(TrapKind::Pheromone, &counts)
        .lapsed(5, None)
        .read()
        .unwrap();
    for day in [&found.flights[0].peak, &found.flights[0].end] {
        assert_eq!(why(day), &WhyNoDay::ArePastLife(traps()));
    }
    // A zero past the life is no information: no night stands behind it.
    assert_eq!((found.newest.count, found.newest.trap_nights), (0, 0));
}

#[test]
fn no_peak_is_told_beside_a_liner_that_is_full() {
    // 465 cm² and 50 moths (Kuenen 2008): 5 + 20 + 30 are 55 on the liner at the highest reading.
    let counts = [0, 0, 5, 20, 30, 9, 4, 1];
    let found = males(&counts);
    let flight = &found.flights[0];
    let expected = WhyNoDay::Undercounts(date(4, 5), traps());
    assert_eq!(why(&flight.peak), &expected);
    assert_eq!(flight.highest.by, week(5));
    // Changed in week 4 and after the peak, it holds 30, then 9.
    let mut changed = Scene::weekly(TrapKind::Pheromone, &counts);
    for at in [3, 4] {
        changed.visits[at].serviced = BTreeSet::from([Part::Liner]);
    }
    assert_eq!(by(&changed.read().unwrap().flights[0].peak), Some(week(5)));
}

#[test]
fn a_fall_of_bait_bags_after_nuts_split_is_no_end() {
    // CABI Agriculture and Bioscience 2024, 5:30: bait fades as new nuts split.
    let read = |nuts_split| {
        let scene = Scene::weekly(TrapKind::BaitBag, &[0, 0, 5, 9, 2, 1, 0]);
        Scene {
            nuts_split,
            ..scene
        }
        .read()
        .unwrap()
        .flights[0]
            .clone()
    };
    assert_eq!(by(&read(date(7, 21)).end), Some(week(5)));
    let split = read(week(4));
    let expected = &WhyNoDay::BagsFade;
    assert_eq!((why(&split.peak), why(&split.end)), (expected, expected));
    assert_eq!(by(&split.start), Some(week(3)));
}

#[test]
fn flights_are_read_from_males_or_under_disruption_from_females_never_inferred() {
    let source = |scene: Scene| scene.read().map(|found| (found.kind, found.counted));
    let counts = [0, 3, 4];
    let scene = |kind| Scene::weekly(kind, &counts);
    let with_sentinel = |mut scene: Scene| {
        let sentinel = sample::trap("S1", TrapKind::Pheromone, date(3, 1));
        scene.traps.push(sentinel);
        scene
    };
    let cases = [
        (
            scene(TrapKind::Pheromone),
            Ok((TrapKind::Pheromone, Counted::Males)),
        ),
        (
            with_sentinel(scene(TrapKind::BaitBag)),
            Ok((TrapKind::BaitBag, Counted::Females)),
        ),
        (
            with_sentinel(scene(TrapKind::PheromonePpo)),
            Ok((TrapKind::PheromonePpo, Counted::Moths)),
        ),
    ];
    for (scene, expected) in cases {
        assert_eq!(source(scene), expected);
    }
    let mut sexed = scene(TrapKind::PheromonePpo);
    for visit in &mut sexed.visits {
        (visit.males, visit.females, visit.moths) = (visit.moths, Some(1), None);
    }
    assert_eq!(
        source(sexed),
        Ok((TrapKind::PheromonePpo, Counted::Females))
    );
    let mut sentinel_alone = with_sentinel(scene(TrapKind::BaitBag));
    sentinel_alone.traps.remove(0);
    assert_eq!(source(sentinel_alone), Err(WhyNoFlights::NoTraps));
    assert_eq!(
        source(Scene::weekly(TrapKind::Pheromone, &[])),
        Err(WhyNoFlights::NotRead(TrapKind::Pheromone))
    );
}
