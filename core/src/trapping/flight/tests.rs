//! One trap read every seven days from 8 March on, unless said otherwise, so that a count less 2 and
//! divided by 1.5 is the count it noticeably exceeds. No published algorithm: the rules are practice.

use std::collections::{BTreeMap, BTreeSet};

use chrono::Days;

use super::*;
use crate::id::{ProductId, TrapId};
use crate::orchard::{Part, Product, Regime, Trap};
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
    /// Degree-days from 1 January between flights.
    bounds: Vec<f64>,
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
            bounds: Vec::new(),
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
        let bounds: Vec<DegreeDays> = self.bounds.iter().map(|at| degree_days(*at)).collect();
        let new_year = NumberedBy::NewYear(date(1, 1));
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
                bounds: &bounds,
                numbered_by: if bounds.is_empty() {
                    NumberedBy::Order
                } else {
                    new_year
                },
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
    let rounds = [
        flight.start.round(),
        flight.peak_round(),
        flight.end.round(),
    ];
    rounds.map(|round| round.map(|round| round.by))
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
    // The low is 0, so 2 and more are up, two with 6 together: 5 and 9 in weeks 4 and 5. Smoothed, week 5 has
    // (2.5 + 9 + 3) / 14 a night, 1.04; 6 and 2 after it are lower.
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
fn two_readings_that_rise_have_six_moths_more_together() {
    let flights = |counts: &[u32]| males(counts).flights.len();
    assert_eq!(flights(&[0, 0, 2, 4, 0, 0]), 1);
    assert_eq!(flights(&[0, 0, 2, 3, 0, 0]), 0);
    assert_eq!(flights(&[0, 0, 1, 9, 0, 0]), 0);
}

#[test]
fn as_the_season_goes_the_highest_round_is_so_far_the_highest_until_two_lower_ones() {
    let check = |counts: &[u32], highest: u64, expected: Peak| {
        let flight = males(counts).flights.remove(0);
        assert_eq!(flight.highest.by, week(highest), "{counts:?}");
        assert_eq!(flight.peak, expected, "{counts:?}");
    };
    check(&[0, 0, 4, 9], 4, Peak::SoFar(SoFar::StillRising));
    check(&[0, 0, 4, 9, 2], 4, Peak::SoFar(SoFar::NotLowerTwice));
    // 7 is lower, though not noticeably: 9 < 1.5 × 7 + 2. Smoothed, week 4 has 14.5 of 14, week 5 14.
    check(&[0, 0, 4, 9, 7, 5], 4, Peak::Seen);
    // Smoothed, (4.5 + 8 + 5) / 14 is more than (2 + 9 + 4) / 14.
    check(&[0, 0, 4, 9, 8, 10], 6, Peak::SoFar(SoFar::StillRising));
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
    let (heat, published) = two[1].heat_between.unwrap();
    assert_eq!(heat.fahrenheit_days(), 630.0);
    assert_eq!(published.unwrap().at.fahrenheit_days(), 1056.0);
    // Without heat it is 21 days that part them.
    assert_eq!(at_heat(None).len(), 2);
}

#[test]
fn catches_from_the_first_readings_on_have_no_start_and_maybe_an_earlier_peak() {
    let flight = &males(&[6, 14, 3, 0, 0]).flights[0];
    assert_eq!(why(&flight.start), &WhyNoDay::CaughtFromFirst);
    assert_eq!(flight.peak_round().map(|round| round.by), Some(week(2)));
    let flight = &males(&[14, 6, 3, 0, 0]).flights[0];
    assert_eq!(
        (&flight.peak, flight.highest.by),
        (&Peak::MayBeBefore, week(1))
    );
}

/// Rises of weeks 4 and 9, by the middle of their nights after 25 days of March and 29 of April: at 30
/// °F-days a day from 1 January they come at 30 × 85 and 30 × 120 degree-days.
fn numbers(bounds: &[f64], heat_a_day: Option<f64>, counts: &[u32]) -> Vec<u8> {
    let scene = Scene::weekly(TrapKind::Pheromone, counts);
    let found = Scene {
        bounds: bounds.to_vec(),
        heat_a_day,
        ..scene
    };
    let found = found.read().unwrap().flights;
    found.iter().map(|flight| flight.number).collect()
}

#[test]
fn a_flight_has_the_number_of_where_its_rise_falls_and_what_was_not_seen_leaves_its_number_free() {
    let counts = [0, 0, 0, 5, 9, 1, 0, 0, 6, 12, 1, 0];
    let by_heat = |bounds: &[f64]| numbers(bounds, Some(30.0), &counts);
    assert_eq!(by_heat(&[2700.0]), [1, 2]);
    assert_eq!(by_heat(&[1000.0, 2700.0]), [2, 3]);
    assert_eq!(by_heat(&[1000.0, 2700.0, 3000.0]), [2, 4]);
    // Both rise within one flight's heat, and their tops are a generation apart: the other is the next.
    assert_eq!(by_heat(&[2000.0]), [2, 3]);
    // Without temperatures, or an insect file that says where, they are counted.
    assert_eq!(numbers(&[1000.0], None, &counts), [1, 2]);
    assert_eq!(by_heat(&[]), [1, 2]);
}

#[test]
fn catches_that_were_up_at_the_first_reading_may_be_of_the_flight_before() {
    // The first reading falls after the boundary, and so does the next rise: the tail of the first.
    let counts = [9, 6, 1, 0, 0, 6, 12, 1, 0];
    assert_eq!(numbers(&[1900.0], Some(30.0), &counts), [1, 2]);
    assert_eq!(numbers(&[1900.0, 2400.0], Some(30.0), &counts), [2, 3]);
}

#[test]
fn heat_between_flights_is_told_only_where_no_flight_between_was_missed() {
    let scene = |bounds: &[f64]| Scene {
        heat_a_day: Some(30.0),
        bounds: bounds.to_vec(),
        ..Scene::weekly(TrapKind::Pheromone, &[0, 0, 0, 5, 9, 1, 0, 0, 6, 12, 1, 0])
    };
    let second = |bounds: &[f64]| scene(bounds).read().unwrap().flights.remove(1).heat_between;
    let (heat, published) = second(&[1000.0, 2700.0]).unwrap();
    // 35 days from top to top; between the second and the third flight lies a new-crop generation.
    assert_eq!(heat.fahrenheit_days(), 1050.0);
    assert_eq!(published.unwrap().at.fahrenheit_days(), 723.0);
    assert_eq!(second(&[1000.0, 2700.0, 3000.0]), None);
}

#[test]
fn flights_that_run_into_each_other_part_at_the_lowest_catch_a_generations_heat_apart() {
    let at_heat = |heat_a_day, counts: &[u32]| {
        let scene = Scene::weekly(TrapKind::Pheromone, counts);
        let found = Scene {
            heat_a_day: Some(heat_a_day),
            ..scene
        };
        found.read().unwrap().flights
    };
    // 12 in week 4 and 20 in week 7 with 9 between, which is not noticeably less (12 < 1.5 × 9 + 2):
    // smoothed 17.5, 16 and 22.5 of 14. At 30 °F-days a day they are 630 apart.
    let counts = [0, 0, 6, 10, 12, 9, 10, 20, 8, 2, 1];
    let one = at_heat(10.0, &counts);
    assert_eq!((one.len(), one[0].highest.by), (1, week(8)));
    let two = at_heat(30.0, &counts);
    let tops: Vec<NaiveDate> = two.iter().map(|flight| flight.highest.by).collect();
    assert_eq!(tops, [week(5), week(8)]);
    assert_eq!(
        (&two[0].peak, by(&two[1].start)),
        (&Peak::Seen, Some(week(6)))
    );
    // Without a dip, 28 days of 30 from the rise to the top are more than the 723 of a generation.
    let two = at_heat(30.0, &[0, 0, 4, 6, 7, 9, 16, 2, 1]);
    assert_eq!(two.len(), 2);
    assert_eq!(two[0].peak, Peak::SoFar(SoFar::RanIntoNext));
    assert_eq!(two[1].highest.by, week(7));
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
fn lures_past_their_life_end_no_flight_and_make_no_lower_round() {
    let counts = [0, 0, 5, 9, 8, 1, 0, 0];
    assert_eq!(by(&males(&counts).flights[0].end), Some(week(6)));
    let lapsed = Scene::weekly(TrapKind::Pheromone, &counts).lapsed(5, None);
    let found = lapsed.read().unwrap();
    assert_eq!(why(&found.flights[0].end), &WhyNoDay::ArePastLife(traps()));
    // A zero past the life is no information: no night stands behind it.
    assert_eq!((found.newest.count, found.newest.trap_nights), (0, 0));
    // Lower with a moth in it, beside the highest reading: told, with what makes it less sure.
    let counts = [0, 0, 5, 9, 8, 1, 1, 0];
    let lapsed = Scene::weekly(TrapKind::Pheromone, &counts).lapsed(4, Some(6));
    let flight = &lapsed.read().unwrap().flights[0];
    assert_eq!(
        flight.peak_doubts,
        [WhyNoDay::WerePastLife(week(5), traps())]
    );
}

#[test]
fn beside_a_liner_that_is_full_the_peak_is_at_least_as_high() {
    // 465 cm² and 50 moths (Kuenen 2008): 5 + 20 + 30 are 55 on the liner at the highest reading.
    let counts = [0, 0, 5, 20, 30, 9, 4, 1];
    let flight = &males(&counts).flights[0];
    assert_eq!(flight.peak, Peak::AtLeast(date(4, 5), traps()));
    assert_eq!(flight.peak_round().map(|round| round.by), Some(week(5)));
    // Changed in week 4 and after the peak, it holds 30, then 9.
    let mut changed = Scene::weekly(TrapKind::Pheromone, &counts);
    for at in [3, 4] {
        changed.visits[at].serviced = BTreeSet::from([Part::Liner]);
    }
    assert_eq!(changed.read().unwrap().flights[0].peak, Peak::Seen);
}

#[test]
fn a_fall_of_bait_bags_after_nuts_split_is_no_end_and_its_peak_less_sure() {
    // CABI Agriculture and Bioscience 2024, 5:30: bait fades as new nuts split.
    let read = |nuts_split| {
        let scene = Scene::weekly(TrapKind::BaitBag, &[0, 0, 5, 9, 2, 1, 0]);
        Scene {
            nuts_split,
            ..scene
        }
        .read()
        .unwrap()
        .flights
        .remove(0)
    };
    let before = read(date(7, 21));
    assert_eq!(
        (by(&before.end), &before.peak_doubts[..]),
        (Some(week(5)), &[][..])
    );
    let split = read(week(4));
    assert_eq!(
        (why(&split.end), &split.peak),
        (&WhyNoDay::BagsFade, &Peak::Seen)
    );
    assert_eq!(split.peak_doubts, [WhyNoDay::BagsFade]);
    assert_eq!(by(&split.start), Some(week(3)));
}

#[test]
fn under_disruption_combined_traps_come_before_bait_bags() {
    let mut scene = Scene::weekly(TrapKind::PheromonePpo, &[0, 3, 4]);
    scene
        .traps
        .push(sample::trap("B1", TrapKind::BaitBag, date(3, 1)));
    let bag = |week_of| Visit {
        females: Some(9),
        ..sample::visit("B1", week(week_of))
    };
    scene.visits.extend([bag(1), bag(2)]);
    let found = scene.read().unwrap();
    assert_eq!(
        (found.kind, &found.beside[..]),
        (TrapKind::PheromonePpo, &[TrapKind::BaitBag][..])
    );
}

/// One pheromone trap and one combined trap in a conventional block, read weekly.
fn beside_each_other(males: &[u32], moths: &[u32]) -> Flights {
    let mut scene = Scene::weekly(TrapKind::Pheromone, males);
    scene
        .traps
        .push(sample::trap("C1", TrapKind::PheromonePpo, date(3, 1)));
    scene
        .visits
        .extend(moths.iter().zip(1..).map(|(&moths, number)| Visit {
            moths: Some(moths),
            ..sample::visit("C1", week(number))
        }));
    scene.read().unwrap()
}

#[test]
fn pheromone_traps_far_below_combined_ones_leave_the_flights_to_these_for_the_year() {
    let usual = beside_each_other(&[0, 9, 20, 8, 2], &[0, 5, 9, 4, 1]);
    assert_eq!((usual.kind, usual.far_below), (TrapKind::Pheromone, None));
    // 0 and 1 males beside 5 and 16 moths: 21 moths are enough, and 3 × 1 is less.
    let far = beside_each_other(&[0, 1, 0, 0], &[5, 16, 20, 4]);
    assert_eq!(
        (far.kind, far.counted),
        (TrapKind::PheromonePpo, Counted::Moths)
    );
    let far_below = far.far_below.unwrap();
    assert_eq!(
        (far_below.by, far_below.males, far_below.moths),
        (week(2), [1, 14], [21, 14])
    );
    assert_eq!(far.beside, [TrapKind::Pheromone]);
    // Too few moths to say, and males not a third.
    assert_eq!(beside_each_other(&[0, 0, 0], &[5, 8, 6]).far_below, None);
    assert_eq!(beside_each_other(&[3, 4, 6], &[9, 12, 18]).far_below, None);
    // Once seen it stays, whatever August brings: 1 male beside 30 moths, then 90 beside 60.
    let later = beside_each_other(&[0, 1, 90, 90], &[10, 20, 60, 60]);
    assert_eq!(later.far_below.map(|far_below| far_below.by), Some(week(2)));
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
