//! Round sheets worked by hand.

use super::*;
use crate::orchard::Pull;
use crate::sample;
use crate::trapping::{Note, NoteKind, Visit};
use crate::wording::language::Language;
use crate::wording::words::Words;

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

/// A trap of the block `B` with a product in each part, on a route and in a row.
fn trap(id: &str, kind: TrapKind, route: &str, row: &str) -> Trap {
    Trap {
        place: Place {
            route: route.into(),
            row: row.into(),
            ..Place::default()
        },
        ..sample::served_trap(id, "B", kind, date(4, 1))
    }
}

fn read(trap: &str, day: NaiveDate) -> Visit {
    Visit {
        eggs: Some(0),
        ..sample::visit(trap, day)
    }
}

fn english() -> Speech {
    Speech::of(Language::English, Words::default())
}

/// The sheets of traps whose parts last 28 days.
fn sheets(
    traps: Vec<Trap>,
    visits: Vec<Visit>,
    notes: &[Note],
    as_of: NaiveDate,
    days: u64,
) -> Vec<RoundSheet> {
    let orchard = Orchard::new(vec![sample::block()], traps, sample::products(28));
    let season = sample::season(&orchard, visits, notes, as_of);
    round_sheets(english(), &orchard, &[&season], days)
}

fn ids(sheet: &RoundSheet) -> Vec<&str> {
    sheet.stops.iter().map(|stop| stop.trap.as_str()).collect()
}

fn changes(stop: &Stop) -> Vec<Part> {
    let changed = stop.parts.iter().filter(|part| part.change.is_some());
    changed.map(|part| part.part).collect()
}

#[test]
fn a_stop_is_made_where_a_reading_falls_due_within_the_days_asked_for() {
    let traps = || {
        vec![
            trap("P1", TrapKind::Pheromone, "", "9"),
            trap("P2", TrapKind::Pheromone, "", "6"),
        ]
    };
    // Read on the 11th and on the 9th: due on the 18th and on the 16th.
    let visits = || vec![read("P1", date(4, 11)), read("P2", date(4, 9))];
    let stops = |days| {
        let found = sheets(traps(), visits(), &[], date(4, 16), days);
        let sheet = found[0].clone();
        (ids(&sheet).join(" "), sheet.stops[0].reading.clone())
    };
    assert_eq!(stops(1), ("P2".into(), "reading due".into()));
    assert_eq!(stops(2).0, "P2 P1");
}

#[test]
fn what_will_not_last_until_the_next_reading_is_changed_on_the_way() {
    let traps = vec![trap("P1", TrapKind::Pheromone, "", "9")];
    let found = |as_of| {
        sheets(traps.clone(), vec![], &[], as_of, 0)[0]
            .stops
            .clone()
    };
    // In since 1 April for 28 days, to the 29th; read weekly. On the 22nd the next reading is on the
    // 29th, its last day; on the 23rd it is on the 30th, too late.
    assert_eq!(changes(&found(date(4, 22))[0]), []);
    let stops = found(date(4, 23));
    assert_eq!(changes(&stops[0]), [Part::Lure, Part::Liner]);
    let change = stops[0].parts[0].change.clone().unwrap();
    assert_eq!(change.why, "lasts until Apr 29");
    let ended = found(date(5, 2))[0].parts[0].change.clone().unwrap();
    assert_eq!(ended.why, "life ended Apr 29");
}

#[test]
fn a_stop_for_a_change_alone_asks_for_the_count_before_it() {
    let traps = vec![trap("P1", TrapKind::Pheromone, "", "9")];
    let stops = &sheets(traps, vec![read("P1", date(4, 28))], &[], date(4, 29), 0)[0].stops;
    assert_eq!(stops[0].reading, "reading not due; count before changing");
    assert_eq!(changes(&stops[0]), [Part::Lure, Part::Liner]);
}

#[test]
fn what_to_bring_is_counted_by_product() {
    let mut traps = vec![
        trap("P1", TrapKind::Pheromone, "", "1"),
        trap("P2", TrapKind::Pheromone, "", "2"),
        trap("C1", TrapKind::PheromonePpo, "", "3"),
        trap("E1", TrapKind::Egg, "", "4"),
    ];
    traps[1].products.remove(&Part::Liner);
    let sheet = &sheets(traps, vec![], &[], date(4, 29), 0)[0];
    // Lures of P1, P2, C1; one PPO; the bait of E1; liners of P1 and C1, since P2 declares none.
    let bring: Vec<(Part, usize)> = sheet.bring.iter().map(|s| (s.part, s.count)).collect();
    let expected = [
        (Part::Lure, 3),
        (Part::Ppo, 1),
        (Part::Bait, 1),
        (Part::Liner, 2),
    ];
    assert_eq!(bring, expected);
    let remark = "no liner is declared for P2: whether it is due is not known";
    assert_eq!(sheet.without_clock, [remark]);
}

#[test]
fn each_route_has_its_sheet_and_traps_without_one_theirs() {
    let traps = vec![
        trap("P1", TrapKind::Pheromone, "", "1"),
        trap("P2", TrapKind::Pheromone, "10", "18"),
        trap("P3", TrapKind::Pheromone, "10", "6"),
        trap("P4", TrapKind::Pheromone, "9", "6"),
    ];
    let found = sheets(traps, vec![], &[], date(4, 8), 0);
    let seen: Vec<(Option<&str>, Vec<&str>)> = found
        .iter()
        .map(|sheet| (sheet.route.as_deref(), ids(sheet)))
        .collect();
    let expected = [
        (Some("9"), vec!["P4"]),
        (Some("10"), vec!["P3", "P2"]),
        (None, vec!["P1"]),
    ];
    assert_eq!(seen, expected);
}

#[test]
fn a_closed_block_has_no_stops_and_says_what_waits() {
    let traps = vec![
        trap("P1", TrapKind::Pheromone, "", "1"),
        trap("P2", TrapKind::Pheromone, "", "2"),
    ];
    let posted = sample::note(date(4, 7), None, NoteKind::NoEntryUntil(date(4, 10)));
    let on = |day| {
        let notes = std::slice::from_ref(&posted);
        sheets(traps.clone(), vec![], notes, date(4, day), 0).remove(0)
    };
    let sheet = on(9);
    assert_eq!((&sheet.stops, &sheet.bring), (&vec![], &vec![]));
    let entry = "closed: no entry until Apr 10; waiting until then: P1, P2";
    assert_eq!(sheet.blocks[0].entry, entry);
    let sheet = on(10);
    assert_eq!(sheet.blocks[0].entry, "check the posting");
    assert_eq!(ids(&sheet), ["P1", "P2"]);
    assert_eq!(sheet.stops[0].reading, "reading due since Apr 8");
}

#[test]
fn a_trap_that_is_down_is_no_stop_and_is_named() {
    let down = Pull {
        down: date(4, 12),
        back: None,
    };
    let traps = vec![Trap {
        pulls: vec![down],
        ..trap("P1", TrapKind::Pheromone, "", "1")
    }];
    let sheet = &sheets(traps, vec![], &[], date(4, 30), 0)[0];
    assert_eq!(ids(sheet), [""; 0]);
    // Nobody goes there for it.
    assert_eq!(sheet.blocks, []);
    assert_eq!(sheet.down, ["down since Apr 12: P1"]);
}

#[test]
fn eggs_left_on_are_to_be_counted_and_an_optional_reading_is_called_so() {
    let traps = vec![trap("E1", TrapKind::Egg, "", "1")];
    let left = Visit {
        eggs: Some(4),
        eggs_left: true,
        ..sample::visit("E1", date(7, 1))
    };
    let split = sample::note(date(7, 4), Some("Nonpareil"), NoteKind::HullSplit);
    let found = |notes: &[Note]| {
        let found = sheets(traps.clone(), vec![left.clone()], notes, date(7, 8), 0);
        found[0].stops[0].reading.clone()
    };
    // A lone trap cannot show a start, so it is read weekly: due on the 8th.
    let count = "count the 4 eggs left on with the others";
    assert_eq!(found(&[]), format!("reading due; {count}"));
    let optional = "reading optional: sound nuts have split";
    assert_eq!(found(&[split]), format!("{optional}; {count}"));
}
