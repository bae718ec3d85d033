use chrono::NaiveDate;

use super::*;
use crate::orchard::TrapKind;
use crate::season::StationHeat;
use crate::trapping::{FarBelow, Note, NoteKind, Notes, Visit, Visits};
use crate::weather::{ReceivedDay, StationWeather};
use crate::{id::StationId, insect::InsectFile, orchard::Orchard, sample};

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2021, month, day).unwrap()
}

/// A block with two pheromone traps read weekly from 8 March on, alike, 20 °F-days each day, and egg laying
/// from 4 April on.
fn lines(counts: &[u32]) -> Vec<String> {
    Words::default().flight_lines(&season(counts, &[started()]))
}

fn started() -> Note {
    let by_hand = NoteKind::EggLayingStart(date(4, 4).into());
    sample::note(date(4, 5), None, by_hand)
}

fn season(counts: &[u32], notes: &[Note]) -> BlockSeason {
    let text = include_str!("../../../../config/insects/navel-orangeworm.toml");
    let insect = toml::from_str::<InsectFile>(text).unwrap().check().unwrap();
    let traps = ["P1", "P2"].map(|id| sample::trap(id, TrapKind::Pheromone, date(3, 1)));
    let visits = counts.iter().zip(1..).flat_map(|(&count, number)| {
        let day = date(3, 1) + chrono::Days::new(7 * number);
        ["P1", "P2"].map(|id| Visit {
            males: Some(count),
            ..sample::visit(id, day)
        })
    });
    let visits = Visits::new(visits.collect());
    let orchard = Orchard::new(vec![sample::block()], traps.into(), Vec::new());
    let as_of = date(3, 1) + chrono::Days::new(7 * counts.len() as u64 + 1);
    let days = date(1, 1).iter_days().take_while(|day| *day < as_of);
    // Extremes between the thresholds: their mean less 55, changing from day to day.
    let received: Vec<ReceivedDay> = days
        .zip([8.0, 9.0, 10.0].into_iter().cycle())
        .map(|(date, half)| ReceivedDay {
            date,
            min: Some(75.0 - half),
            max: Some(75.0 + half),
            unit: Unit::Fahrenheit,
            min_flag: None,
            max_flag: None,
        })
        .collect();
    let weather = StationWeather::alone(StationId::new("S").unwrap(), &received, as_of);
    let heat = StationHeat::new(&weather, insect.heat);
    sample::assess_alone(
        &orchard,
        (&sample::block(), &insect),
        &heat,
        &visits,
        &Notes::new(notes.to_vec()),
    )
}

#[test]
fn beside_a_passed_mark_stands_the_flight_that_the_traps_showed_and_the_difference() {
    // 1056 at 20 a day from 4 April: 53 days, 26 May; the second flight's rise was read on 24 May.
    let notes = [started()];
    let counts = [0, 0, 0, 5, 9, 1, 0, 0, 0, 0, 0, 6, 12];
    let season = season(&counts, &notes);
    let beside = |place: usize| Words::default().traps_beside(&season, &season.marks[place]);
    let expected =
        "the traps showed the 2nd flight starting between May 17 and May 24, 2 days before";
    assert_eq!(beside(1).as_deref(), Some(expected));
    // First hatch begins no flight, and the third generation is ahead.
    assert_eq!((beside(0), beside(2)), (None, None));
}

#[test]
fn a_flight_is_told_with_its_counts_and_traps() {
    // Smoothed, 9 on each of two traps is highest; 18 moths on 14 trap-nights are 1.3.
    let expected = "1st flight seen (males): started between Mar 22 and Mar 29 (10 caught, 2 of 2 traps \
                    read); peak 1.3 per trap per night between Mar 29 and Apr 5; back at the low between Apr \
                    12 and Apr 19 (4 caught, 2 of 2 traps read)";
    assert_eq!(lines(&[0, 1, 0, 5, 9, 6, 2, 1, 0]), [expected]);
}

#[test]
fn the_heat_between_two_flights_stands_beside_what_is_published() {
    // Highest in the weeks to 5 April and 31 May: 56 days of 20.
    let found = lines(&[0, 0, 0, 5, 9, 1, 0, 0, 0, 0, 0, 6, 12]);
    let expected = "2nd flight seen (males): started between May 17 and May 24 (12 caught, 2 of 2 traps \
                    read); highest so far 1.7 per trap per night between May 24 and May 31, still rising; \
                    1120 °F-days after the highest catch of the flight before (one generation: 1056 \
                    °F-days)";
    assert_eq!(found[1], expected);
}

#[test]
fn a_flight_that_was_not_seen_leaves_its_number_free() {
    // A rise in the nights to 21 June, 75 days of 20 °F-days after the start: more than 1417, so the third.
    let mut counts = [0; 17];
    counts[15..].copy_from_slice(&[6, 12]);
    let found = lines(&counts);
    let first = "1st flight not seen (males): first reading between Mar 1 and Mar 8";
    assert_eq!((found.len(), found[0].as_str()), (3, first));
    assert!(
        found[2].starts_with("3rd flight seen (males): started between Jun 14 and Jun 21"),
        "{found:?}"
    );
}

#[test]
fn an_insect_file_may_name_its_flights() {
    let season = BlockSeason {
        flight_names: ["spring flight", "summer flight"].map(str::to_owned).into(),
        ..season(&[0, 1, 0, 5, 9, 6, 2, 1, 0], &[started()])
    };
    let found = Words::default().flight_lines(&season);
    assert!(
        found[0].starts_with("spring flight seen (males): started"),
        "{found:?}"
    );
}

#[test]
fn why_combined_traps_are_read_in_a_conventional_block_is_said_in_counts() {
    let mut season = season(&[0, 1, 0, 5, 9, 6, 2, 1, 0], &[started()]);
    let flights = season.flights.as_mut().unwrap();
    flights.far_below = Some(FarBelow {
        by: date(4, 5),
        males: [1, 14],
        moths: [21, 14],
    });
    let expected = "flights are read from the combined traps: to Apr 5 the pheromone traps beside them caught \
                    0.07 males per trap per night, and they 1.5 moths; that is what mating disruption near by \
                    looks like";
    let found = Words::default().flight_lines(&season);
    assert_eq!(found[0], expected);
}

#[test]
fn a_single_rise_and_an_empty_season_are_said_as_such() {
    let expected = "newest reading between Mar 15 and Mar 22 (10 caught, 2 of 2 traps read): males above \
                    the low, too early to say whether a flight starts";
    assert_eq!(lines(&[0, 0, 5]), [expected]);
    let expected =
        "no flight seen yet (males): between Mar 8 and Mar 15 (0 caught, 2 of 2 traps read)";
    assert_eq!(lines(&[0, 0]), [expected]);
}

#[test]
fn full_liners_leave_a_peak_by_its_dates_as_at_least_so_high() {
    // A liner whose area is not declared is full at 50: 5 + 20 + 30 are 55 on the 5th of April. Smoothed,
    // 44.5 moths on 14 nights; a third of that is 7.4 a week, and 9 is more.
    let expected = "1st flight seen (males): started between Mar 15 and Mar 22 (10 caught, 2 of 2 traps \
                    read); peak at least 4.3 per trap per night between Mar 29 and Apr 5; liners so full that they \
                    undercount on Apr 5 (P1, P2); back at the low between \
                    Apr 12 and Apr 19 (8 caught, 2 of 2 traps read)";
    assert_eq!(lines(&[0, 0, 5, 20, 30, 9, 4, 1])[0], expected);
}

#[test]
fn words_about_flights_hold_no_verdict() {
    for line in lines(&[0, 0, 0, 5, 9, 1, 0, 0, 0, 0, 0, 6, 12]) {
        for word in ["safe", "pressure", "spray", "treat", "threshold", "working"] {
            assert!(!line.contains(word), "{line}");
        }
    }
}
