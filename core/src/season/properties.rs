//! What must hold for any season: nothing that comes later changes what is said of a day.

use proptest::prelude::*;

use super::tests::{date, insect};
use super::*;
use crate::id::{BlockId, StationId};
use crate::orchard::TrapKind;
use crate::sample::{assess_alone, block, trap, visit};
use crate::trapping::{Note, NoteKind, Visit};
use crate::weather::{ReceivedDay, StationWeather};

fn after(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(Days::new(days)).unwrap()
}

fn orchard() -> Orchard {
    let trap = |n: usize| trap(&format!("E{n}"), TrapKind::Egg, date(2021, 3, 15));
    Orchard::new(vec![block()], (1..=4).map(trap).collect(), Vec::new())
}

/// A day of a made-up climate; `noise` is what chance adds to both extremes, °F.
fn day(date: NaiveDate, noise: (f64, f64)) -> ReceivedDay {
    let turn = (f64::from(date.ordinal0()) - 105.0) / 365.0 * std::f64::consts::TAU;
    let mean = 62.0 + 18.0 * turn.sin();
    ReceivedDay {
        date,
        min: Some((mean - 14.0 + noise.0).round()),
        max: Some((mean + 14.0 + noise.1).round()),
        unit: Unit::Fahrenheit,
        min_flag: None,
        max_flag: None,
    }
}

/// Ten years of days up to the day of telling, and what a hundred days after it may bring: any
/// temperature at all, or none.
fn days() -> impl Strategy<Value = (Vec<ReceivedDay>, Vec<ReceivedDay>)> {
    let noise = prop::collection::vec((-9.0..9.0, -9.0..9.0), 3_900);
    let later = prop::collection::vec(
        (
            prop::option::of(-60.0..150.0),
            prop::option::of(-60.0..150.0),
        ),
        100,
    );
    (noise, later).prop_map(|(noise, later)| {
        let first = date(2011, 1, 1);
        let known = noise.iter().zip(first.iter_days());
        let known = known.take_while(|(_, date)| *date < AS_OF);
        let coming = later.iter().zip(AS_OF.iter_days());
        (
            known.map(|(noise, date)| day(date, *noise)).collect(),
            coming
                .map(|((min, max), date)| ReceivedDay {
                    min: *min,
                    max: *max,
                    ..day(date, (0.0, 0.0))
                })
                .collect(),
        )
    })
}

const AS_OF: NaiveDate = NaiveDate::from_ymd_opt(2021, 5, 20).expect("a day of the calendar");

/// Readings of the four egg traps, twice a week.
fn visits(eggs: &[u32], from: NaiveDate) -> Vec<Visit> {
    let readings = eggs.iter().zip(0..);
    readings
        .map(|(&eggs, n)| Visit {
            eggs: Some(eggs),
            readable: eggs != 9,
            ..visit(&format!("E{}", n % 4 + 1), after(from, n / 4 * 3))
        })
        .collect()
}

fn notes(from: NaiveDate, ahead: &[u64]) -> Vec<Note> {
    let note = |ahead: &u64| Note {
        block: BlockId::new("B").unwrap(),
        variety: Some("Nonpareil".into()),
        date: after(from, *ahead),
        kind: NoteKind::HullSplit,
        text: String::new(),
        by: "adviser".into(),
        entered_at: chrono::DateTime::UNIX_EPOCH,
    };
    ahead.iter().map(note).collect()
}

fn told(received: &[ReceivedDay], visits: Vec<Visit>, notes: &[Note]) -> BlockSeason {
    let orchard = orchard();
    let weather = StationWeather::alone(StationId::new("S").unwrap(), received, AS_OF);
    let insect = insect();
    let heat = StationHeat::new(&weather, insect.heat);
    assess_alone(
        &orchard,
        (&block(), &insect),
        &heat,
        &Visits::new(visits),
        &Notes::new(notes.to_vec()),
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn what_comes_later_changes_nothing_that_is_said_of_a_day(
        (known, later) in days(),
        eggs in prop::collection::vec(0_u32..10, 60),
        eggs_later in prop::collection::vec(0_u32..10, 40),
        splits_later in prop::collection::vec(1_u64..90, 0..3),
    ) {
        let read = visits(&eggs, date(2021, 4, 1));
        let said = told(&known, read.clone(), &[]);
        let all: Vec<ReceivedDay> = known.iter().chain(&later).cloned().collect();
        let mut read_later = read;
        read_later.extend(visits(&eggs_later, after(AS_OF, 1)));
        let notes = notes(AS_OF, &splits_later);
        prop_assert_eq!(said, told(&all, read_later, &notes));
    }

    #[test]
    fn the_order_in_which_days_come_changes_nothing((known, _) in days(), turn in 0_usize..3_000) {
        let in_order = told(&known, Vec::new(), &[]);
        let mut turned = known.clone();
        turned.rotate_left(turn % known.len());
        turned.reverse();
        prop_assert_eq!(in_order, told(&turned, Vec::new(), &[]));
    }
}
