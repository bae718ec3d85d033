//! Rounds worked by hand.

use proptest::prelude::*;

use super::*;
use crate::orchard::{Place, Pull, Trap, TrapKind};
use crate::sample;
use crate::trapping::{Note, NoteKind, Visit};
use crate::wording::words::Words;

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

fn trap(id: &str, kind: TrapKind, route: &str, row: &str) -> Trap {
    Trap {
        place: Place {
            route: route.into(),
            gate: "3".into(),
            row: row.into(),
            ..Place::default()
        },
        ..sample::served_trap(id, "B", kind, date(4, 1))
    }
}

fn read(trap: &str, day: NaiveDate, eggs: Option<u32>) -> Visit {
    Visit {
        eggs,
        readable: eggs.is_some(),
        ..sample::visit(trap, day)
    }
}

fn mail(
    language: Language,
    traps: Vec<Trap>,
    visits: Vec<Visit>,
    notes: &[Note],
    as_of: NaiveDate,
) -> Option<RoundMail> {
    let orchard = Orchard::new(vec![sample::block()], traps, sample::products(28));
    let season = sample::season(&orchard, visits, notes, as_of);
    let speech = Speech::of(language, Words::default());
    round_mail(speech, &orchard, &[&season], "west")
}

fn two_traps() -> Vec<Trap> {
    vec![
        trap("E1", TrapKind::Egg, "west", "18"),
        trap("E2", TrapKind::Egg, "west", "6"),
        trap("E3", TrapKind::Egg, "10", "6"),
    ]
}

#[test]
fn a_round_is_of_one_route_in_walking_order_with_the_last_reading_of_each_trap() {
    let visits = vec![
        read("E1", date(4, 4), Some(3)),
        read("E1", date(4, 15), Some(12)),
        read("E2", date(4, 15), None),
    ];
    let said = |language| {
        let round = mail(language, two_traps(), visits.clone(), &[], date(4, 28)).unwrap();
        let stops = round.stops.iter();
        let stop = |stop: &RoundStop| {
            let (trap, place, kind) = (&stop.trap, &stop.place, &stop.kind);
            let block = stop.block.clone().unwrap_or_default();
            let (last, changes) = (stop.last.as_deref(), stop.changes.join(" · "));
            let last = last.unwrap_or_default();
            format!("{block} {trap} {place} {kind} {last} · {changes}")
        };
        let stops: Vec<String> = stops.map(stop).collect();
        (round.headline, round.title, round.bring, stops)
    };
    let (headline, title, bring, stops) = said(Language::English);
    assert_eq!(headline, "Apr 28: round west, 2 traps");
    assert_eq!(title, "Route west: 2 traps");
    assert_eq!(bring, ["2 baits (bait)"]);
    let lasts = "change bait: bait, lasts until Apr 29";
    assert_eq!(
        stops,
        [
            format!("Bench E2 gate 3, row 6 egg last: not readable on Apr 15 · {lasts}"),
            format!(" E1 gate 3, row 18 egg last: 12 on Apr 15 · {lasts}"),
        ]
    );
    let (headline, title, bring, stops) = said(Language::Spanish);
    assert_eq!(headline, "28 abr: ronda west, 2 trampas");
    assert_eq!(title, "Ruta west: 2 trampas");
    assert_eq!(bring, ["2 cebos (bait)"]);
    let lasts = "cambiar cebo: bait, dura hasta el 29 abr";
    let second = format!(" E1 portón 3, hilera 18 huevos última: 12 el 15 abr · {lasts}");
    assert_eq!(stops[1], second);
}

#[test]
fn of_a_reading_only_what_is_unusual_is_said() {
    let left = Visit {
        eggs_left: true,
        ..read("E1", date(7, 1), Some(4))
    };
    let split = sample::note(date(7, 4), Some("Nonpareil"), NoteKind::HullSplit);
    let traps = vec![trap("E1", TrapKind::Egg, "west", "1")];
    let notes = |notes: &[Note]| {
        let round = mail(
            Language::English,
            traps.clone(),
            vec![left.clone()],
            notes,
            date(7, 8),
        );
        round.unwrap().stops[0].notes[0].clone()
    };
    assert_eq!(notes(&[]), "count the 4 eggs left on with the others");
    let optional = "reading optional: sound nuts have split";
    assert_eq!(notes(&[split]), optional);
}

#[test]
fn a_closed_block_heads_the_round_and_without_anything_to_do_there_is_none() {
    let posted = sample::note(date(4, 24), None, NoteKind::NoEntryUntil(date(4, 30)));
    let english = Language::English;
    let alone = mail(
        english,
        two_traps(),
        vec![],
        std::slice::from_ref(&posted),
        date(4, 26),
    );
    assert_eq!(alone, None);
    let blocks = vec![sample::block(), {
        let mut other = sample::block();
        other.id = crate::id::BlockId::new("C").unwrap();
        other.name = "Creek".into();
        other
    }];
    let mut traps = two_traps();
    let id = &blocks[1].id;
    traps.push(Trap {
        block: id.clone(),
        ..trap("C1", TrapKind::Pheromone, "west", "2")
    });
    traps[0].pulls.push(Pull {
        down: date(4, 20),
        back: None,
    });
    let seasons = [0, 1].map(|at| {
        let mut blocks = blocks.clone();
        blocks.rotate_left(at);
        let orchard = Orchard::new(blocks, traps.clone(), sample::products(28));
        let notes = if at == 0 {
            vec![posted.clone()]
        } else {
            vec![]
        };
        sample::season(&orchard, vec![], &notes, date(4, 26))
    });
    let orchard = Orchard::new(blocks, traps, sample::products(28));
    let speech = Speech::of(english, Words::default());
    let round = round_mail(speech, &orchard, &[&seasons[0], &seasons[1]], "west").unwrap();
    assert_eq!(round.closed, ["No entry until Apr 30: Bench; 1 trap waits"]);
    assert_eq!(round.down, ["down since Apr 20: E1"]);
    assert_eq!(round.stops.len(), 1);
}

proptest! {
    #[test]
    fn a_subject_is_read_whole_on_a_phone(route in "\\PC{1,80}", spanish: bool) {
        let traps = vec![trap("E1", TrapKind::Egg, &route, "1")];
        let orchard = Orchard::new(vec![sample::block()], traps, sample::products(28));
        let season = sample::season(&orchard, vec![], &[], date(4, 26));
        let language = if spanish { Language::Spanish } else { Language::English };
        let speech = Speech::of(language, Words::default());
        let round = round_mail(speech, &orchard, &[&season], &route).unwrap();
        prop_assert!(round.headline.chars().count() <= LONGEST_SUBJECT, "{}", round.headline);
        let (begin, end) = if spanish { ("26 abr: ", " 1 trampa") } else { ("Apr 26: ", " 1 trap") };
        prop_assert!(round.headline.starts_with(begin) && round.headline.ends_with(end));
    }
}
