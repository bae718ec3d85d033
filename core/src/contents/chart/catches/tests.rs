use super::*;
use crate::orchard::{Part, Trap};
use crate::sample;
use crate::trapping::Visit;

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

/// One pheromone trap, hung on 1 April with a lure of so many days, and its counts.
fn chart_of(traps: Vec<Trap>, life_days: u16, visits: Vec<Visit>) -> Option<CatchChart> {
    let orchard = Orchard::new(vec![sample::block()], traps, sample::products(life_days));
    let season = sample::season(&orchard, visits.clone(), &[], date(6, 1));
    catch_chart(Words::default(), &season, &orchard, &Visits::new(visits))
}

fn trap(id: &str, kind: TrapKind) -> Trap {
    sample::served_trap(id, "B", kind, date(4, 1))
}

fn read(trap: &str, month: u32, day: u32, males: u32) -> Visit {
    Visit {
        males: Some(males),
        ..sample::visit(trap, date(month, day))
    }
}

#[test]
fn a_reading_is_a_catch_by_trap_and_night() {
    let visits = vec![
        read("P1", 4, 8, 7),
        read("P1", 4, 15, 21),
        read("P1", 5, 13, 0),
    ];
    let chart = chart_of(vec![trap("P1", TrapKind::Pheromone)], 200, visits).unwrap();
    let panel = &chart.panels[0];
    // 7 in 7 nights, 21 in 7, none in 28.
    let rates: Vec<Option<f64>> = panel.readings.iter().map(|r| r.rate).collect();
    assert_eq!(rates, [Some(1.0), Some(3.0), Some(0.0)]);
    assert_eq!(panel.title, "pheromone traps: males");
    assert_eq!(chart.hollow_label, None);
    let expected = "Moths caught in Bench per trap per night, by reading, to Jun 1. Pheromone traps (males), \
                    3 readings: newest 0.0 (May 13), highest 3.0 (Apr 15).";
    let alt = &chart.frame.alt;
    assert!(alt.starts_with(expected), "{alt}");
}

#[test]
fn readings_are_not_joined_over_nights_that_nothing_is_known_of() {
    let unread = Visit {
        readable: false,
        ..sample::visit("P1", date(5, 6))
    };
    let visits = vec![read("P1", 4, 8, 7), unread, read("P1", 5, 13, 7)];
    let chart = chart_of(vec![trap("P1", TrapKind::Pheromone)], 200, visits).unwrap();
    let joined: Vec<bool> = chart.panels[0].readings.iter().map(|r| r.joined).collect();
    assert_eq!(joined, [false, false]);
}

#[test]
fn what_a_lure_past_its_life_caught_is_hollow_and_its_zeros_are_no_reading() {
    let visits = vec![
        read("P1", 4, 8, 7),
        read("P1", 4, 29, 4),
        read("P1", 5, 6, 0),
    ];
    let chart = chart_of(vec![trap("P1", TrapKind::Pheromone)], 7, visits).unwrap();
    let readings = &chart.panels[0].readings;
    let hollow: Vec<bool> = readings.iter().map(|r| r.hollow).collect();
    assert_eq!(hollow, [false, true, true]);
    // 4 in 21 nights.
    assert_eq!((readings[1].rate, readings[2].rate), (Some(0.19), None));
    assert_eq!(
        chart.hollow_label.as_deref(),
        Some("hollow: past a service life")
    );
    assert!(
        chart
            .frame
            .alt
            .contains("newest no information (May 6, past a service life)"),
        "{}",
        chart.frame.alt
    );
}

#[test]
fn kinds_of_trap_have_panels_of_their_own_and_flights_stand_in_one() {
    let mut visits = Vec::new();
    let counts = [0, 0, 0, 5, 10, 20, 10, 3, 0, 0, 0];
    let days = date(4, 8).iter_days().step_by(7);
    for (day, count) in days.zip(counts) {
        visits.push(Visit {
            males: Some(count),
            ..sample::visit("P1", day)
        });
        visits.push(Visit {
            females: Some(count / 5),
            serviced: [Part::Bait].into(),
            ..sample::visit("W1", day)
        });
    }
    let traps = vec![
        trap("P1", TrapKind::Pheromone),
        trap("W1", TrapKind::BaitBag),
    ];
    let orchard = Orchard::new(vec![sample::block()], traps, sample::products(200));
    let season = sample::season(&orchard, visits.clone(), &[], date(6, 30));
    let chart = catch_chart(Words::default(), &season, &orchard, &Visits::new(visits)).unwrap();
    let titles: Vec<&str> = chart.panels.iter().map(|p| p.title.as_str()).collect();
    assert_eq!(
        titles,
        ["pheromone traps: males", "bait bag traps: females"]
    );
    let flights: Vec<usize> = chart.panels.iter().map(|p| p.flights.len()).collect();
    assert_eq!(flights, [1, 0]);
    // The highest is the sixth reading: 8 April and five weeks.
    let flight = &chart.panels[0].flights[0];
    assert_eq!(flight.highest, date(5, 13));
    assert!(flight.peaked);
    assert!(
        flight.label.starts_with("1st flight: start "),
        "{}",
        flight.label
    );
    assert!(
        flight.label.contains("peak May\u{a0}13"),
        "{}",
        flight.label
    );
}

#[test]
fn without_a_reading_of_moths_there_is_no_chart() {
    let eggs = Visit {
        eggs: Some(3),
        ..sample::visit("E1", date(4, 8))
    };
    let traps = vec![trap("E1", TrapKind::Egg), trap("P1", TrapKind::Pheromone)];
    assert_eq!(chart_of(traps, 200, vec![eggs]), None);
}
