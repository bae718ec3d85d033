use std::collections::{BTreeMap, BTreeSet};

use super::*;
use crate::id::ProductId;
use crate::orchard::{Product, Pull};
use crate::sample;
use crate::trapping::{NoteKind, Visit, readings_due};

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

fn read(trap: &str, (month, day): (u32, u32)) -> Visit {
    let count = Some(3);
    let visit = sample::visit(trap, date(month, day));
    match trap.starts_with('E') {
        true => Visit {
            eggs: count,
            ..visit
        },
        false => Visit {
            males: count,
            ..visit
        },
    }
}

/// The readings of one trap from 1 April to a day.
fn of(
    trap: &Trap,
    on: &[(u32, u32)],
    notes: &[Note],
    settled: Option<NaiveDate>,
    to: NaiveDate,
) -> ReadingRecord {
    let visits = on.iter().map(|day| read(trap.id.as_str(), *day)).collect();
    let orchard = Orchard::new(Vec::new(), vec![trap.clone()], Vec::new());
    let served = Served {
        orchard: &orchard,
        visits: &Visits::new(visits),
        notes,
        start_settled: settled,
        within: [date(4, 1), to],
    };
    served.record(&[trap]).readings
}

fn moth_trap() -> Trap {
    sample::trap("P1", TrapKind::Pheromone, date(4, 1))
}

fn counts(record: &ReadingRecord) -> [u32; 6] {
    [
        record.due,
        record.in_time,
        record.late_count(),
        record.missed_count(),
        record.beside,
        record.open,
    ]
}

#[test]
fn a_week_that_is_missed_and_one_that_is_late_are_told_apart() {
    // Hung on 1 April and read by the week. Due on the 8th and 15th: read so. Due on the 22nd, read on the 25th.
    // Due on 2 May, and not read when the next one fell due on the 9th; read the day after that, in time.
    let days = [(4, 8), (4, 15), (4, 25), (5, 10)];
    let record = of(&moth_trap(), &days, &[], None, date(5, 14));
    assert_eq!(counts(&record), [5, 3, 1, 1, 0, 0]);
    assert_eq!(record.made(), 4);
    let late = &record.late[0];
    assert_eq!(
        (late.due, late.made, late.days),
        (date(4, 22), date(4, 25), 3)
    );
    assert_eq!(record.missed[0].due, date(5, 2));
    // The week of Monday 2 May had a reading due and none made; that of 18 April, too, since it was read on the
    // Monday after.
    assert_eq!(record.empty_weeks, [date(4, 18), date(5, 2)]);
}

#[test]
fn what_is_due_is_what_each_mornings_work_says() {
    let trap = moth_trap();
    let days = [(4, 8), (4, 15), (4, 25)];
    let visits = Visits::new(days.iter().map(|day| read("P1", *day)).collect());
    let due = of(&trap, &days, &[], None, date(4, 30));
    let mut fell_due = BTreeSet::new();
    for day in date(4, 1).iter_days().take_while(|day| *day <= date(4, 30)) {
        let before = day.pred_opt().unwrap();
        let traps = std::iter::once(&trap);
        let work = readings_due(
            traps,
            &Visits::new(visits.of(&trap.id, before).to_vec()),
            EggRoutine::Weekly,
            day,
        );
        fell_due.extend(work.iter().map(|work| work.due).filter(|due| *due <= day));
    }
    assert_eq!(fell_due.len() as u32, due.due);
    assert!(fell_due.contains(&due.late[0].due));
}

#[test]
fn egg_traps_are_due_twice_a_week_then_weekly_then_not_at_all() {
    let trap = sample::trap("E1", TrapKind::Egg, date(4, 1));
    let split = sample::note(date(4, 29), Some("Nonpareil"), NoteKind::HullSplit);
    // Awaited to the 11th: due on the 4th and 7th, read on the 5th, a day later and in time, and the 8th. Settled
    // on the 11th, on which it is read. Due on the 18th, read on the 20th, two days late. Split on the 29th, after
    // which the reading of 2 May is one that nobody asked for.
    let days = [(4, 5), (4, 8), (4, 11), (4, 20), (4, 27), (5, 2)];
    let record = of(&trap, &days, &[split], Some(date(4, 11)), date(5, 31));
    assert_eq!(counts(&record), [5, 4, 1, 0, 1, 0]);
    assert_eq!(record.late[0].days, 2);
}

#[test]
fn a_closed_block_makes_nothing_late() {
    // Due on the 8th, closed from the 7th to before the 12th: due on the 12th, read on the 13th.
    let posted = sample::note(date(4, 7), None, NoteKind::NoEntryUntil(date(4, 12)));
    let record = of(&moth_trap(), &[(4, 13)], &[posted], None, date(4, 15));
    assert_eq!(counts(&record), [1, 1, 0, 0, 0, 0]);
}

#[test]
fn a_trap_that_is_down_is_not_due_and_counts_from_the_day_it_came_back() {
    let trap = Trap {
        pulls: vec![Pull {
            down: date(4, 10),
            back: Some(date(4, 24)),
        }],
        removed: Some(date(5, 3)),
        ..moth_trap()
    };
    // Due on the 8th and read on the 10th, when it is taken down: two days late. Back on the 24th, due on 1 May,
    // taken away on the 3rd and read then: two days late.
    let record = of(&trap, &[(4, 10), (5, 3)], &[], None, date(6, 30));
    assert_eq!(counts(&record), [2, 0, 2, 0, 0, 0]);
}

#[test]
fn a_reading_before_its_day_is_that_one_once_half_of_the_days_have_passed() {
    // On the 3rd, after two of seven days, nobody asked for it; on the 7th, after four, it is the next one.
    let record = of(&moth_trap(), &[(4, 3), (4, 7)], &[], None, date(4, 8));
    assert_eq!(counts(&record), [1, 1, 0, 0, 1, 0]);
}

#[test]
fn a_trap_that_could_not_be_read_was_looked_at() {
    let visits = vec![Visit {
        readable: false,
        ..sample::visit("P1", date(4, 8))
    }];
    let orchard = Orchard::new(Vec::new(), vec![moth_trap()], Vec::new());
    let served = Served {
        orchard: &orchard,
        visits: &Visits::new(visits),
        notes: &[],
        start_settled: None,
        within: [date(4, 1), date(4, 16)],
    };
    let record = served.record(&[&moth_trap()]).readings;
    assert_eq!(counts(&record), [1, 1, 0, 0, 0, 1]);
    assert_eq!(record.unreadable, 1);
}

#[test]
fn parts_are_in_time_by_the_last_day_of_their_life() {
    let product = Product {
        id: ProductId::new("lure-6w").unwrap(),
        part: Part::Lure,
        life_days: 42,
        source: "the maker's sheet".into(),
        area_cm2: None,
    };
    let of = |changed: &[(u32, u32)], removed: Option<NaiveDate>| {
        let trap = Trap {
            products: BTreeMap::from([(Part::Lure, product.id.clone())]),
            removed,
            ..moth_trap()
        };
        let visits = changed.iter().map(|(month, day)| Visit {
            serviced: BTreeSet::from([Part::Lure]),
            ..sample::visit("P1", date(*month, *day))
        });
        let orchard = Orchard::new(Vec::new(), vec![trap.clone()], vec![product.clone()]);
        let served = Served {
            orchard: &orchard,
            visits: &Visits::new(visits.collect()),
            notes: &[],
            start_settled: None,
            within: [date(4, 1), date(9, 30)],
        };
        let parts = served.record(&[&trap]).parts;
        parts.first().map(|part| {
            let late = part
                .late
                .iter()
                .map(|late| (late.due, late.changed, late.nights));
            (part.due, part.in_time, late.collect::<Vec<_>>())
        })
    };
    // In since 1 April for 42 days, to 13 May; then from the change on: to 24 June, to 8 August.
    let in_time = [(5, 13), (6, 20)];
    assert_eq!(of(&in_time, Some(date(7, 1))), Some((2, 2, vec![])));
    // Changed five days late, then never: 29 June is the last day, the trap hangs to 30 September, 93 nights on.
    let late = vec![(date(5, 13), Some(date(5, 18)), 5), (date(6, 29), None, 93)];
    assert_eq!(of(&[(5, 18)], None), Some((2, 0, late)));
    // Taken away while it was good.
    assert_eq!(of(&[], Some(date(5, 1))), None);
}

#[test]
fn a_season_ends_with_its_last_day_or_with_today() {
    let within = |season, as_of| days_of_season(2022, season, as_of);
    let usual = [(2, 15), (10, 31)];
    assert_eq!(within(usual, date(12, 31)), [date(2, 15), date(10, 31)]);
    assert_eq!(within(usual, date(6, 1)), [date(2, 15), date(6, 1)]);
}
