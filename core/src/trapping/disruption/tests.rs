//! Disrupted blocks small enough to add up by hand. The rules are those of the crate's documentation;
//! where no source is named there they are common practice.

use super::*;
use crate::id::StationId;
use crate::sample;
use crate::trapping::{Counted, Visit};

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

/// The block `B`, disrupted from 1 April to 30 September, with a sentinel `P`, a combined trap `C` and a
/// bait bag `F`, all hung on 1 May with lures of 42 days, so in life until 12 June. Beside it a
/// conventional block `K` of the same station with a pheromone trap `R`.
struct Case {
    block: Block,
    others: Vec<Block>,
    traps: Vec<Trap>,
    visits: Vec<Visit>,
    notes: Vec<Note>,
}

fn case() -> Case {
    let conventional = Block {
        id: BlockId::new("K").unwrap(),
        name: "Knoll".into(),
        ..sample::block()
    };
    Case {
        block: Block {
            regime: Regime::MatingDisruption,
            dispensers: Dispensers {
                on: Some(date(4, 1)),
                until: Some(date(9, 30)),
            },
            ..sample::block()
        },
        traps: vec![
            trap("P", "B", TrapKind::Pheromone),
            trap("C", "B", TrapKind::PheromonePpo),
            trap("F", "B", TrapKind::BaitBag),
            trap("R", "K", TrapKind::Pheromone),
        ],
        others: vec![conventional],
        visits: Vec::new(),
        notes: Vec::new(),
    }
}

fn trap(id: &str, block: &str, kind: TrapKind) -> Trap {
    sample::served_trap(id, block, kind, date(5, 1))
}

impl Case {
    fn read(mut self, trap: &str, month: u32, day: u32, moths: u32) -> Self {
        self.visits.push(Visit {
            moths: Some(moths),
            ..sample::visit(trap, date(month, day))
        });
        self
    }

    fn as_of(&self, month: u32, day: u32) -> Disruption {
        let blocks = std::iter::once(&self.block).chain(&self.others);
        let orchard = Orchard::new(
            blocks.cloned().collect(),
            self.traps.clone(),
            sample::products(42),
        );
        let visits = Visits::new(self.visits.clone());
        let checked = disruption(
            &orchard,
            &self.block,
            &visits,
            &self.notes,
            date(month, day),
        );
        checked.unwrap()
    }
}

/// Sentinel empty, combined trap 9, both read on 8 and 15 May.
fn empty_sentinel() -> Case {
    case()
        .read("P", 5, 8, 0)
        .read("P", 5, 15, 0)
        .read("C", 5, 8, 4)
        .read("C", 5, 15, 5)
}

#[test]
fn an_empty_sentinel_stands_beside_what_the_combined_trap_caught() {
    let checked = empty_sentinel().as_of(5, 16);
    // Nights by hand: 1 to 8 May and 8 to 15 May; the last seven days, from the 10th, hold one reading.
    let season = &checked.season;
    let sentinel = season.sentinel.as_ref().unwrap();
    assert_eq!((sentinel.count, sentinel.trap_nights), (0, 14));
    assert_eq!(sentinel.nights_in_life(), Some(14));
    assert_eq!(sentinel.counted, Counted::Males);
    assert_eq!(
        season
            .others
            .iter()
            .map(|haul| haul.count)
            .collect::<Vec<_>>(),
        [9]
    );
    let week = &checked.week;
    assert_eq!(week.sentinel.as_ref().unwrap().trap_nights, 7);
    assert_eq!(week.others[0].count, 5);
    assert_eq!((season.doubts.len(), week.doubts.len()), (0, 0));
    assert_eq!(checked.catches, []);
}

#[test]
fn a_conventional_block_is_not_checked() {
    let Case { block, .. } = case();
    let block = Block {
        regime: Regime::Conventional,
        ..block
    };
    let orchard = Orchard::new(vec![block.clone()], Vec::new(), Vec::new());
    let none = disruption(&orchard, &block, &Visits::default(), &[], date(5, 16));
    assert_eq!(none, None);
}

#[test]
fn what_says_nothing_is_doubted() {
    let no_sentinel = || {
        let mut case = case().read("C", 5, 15, 5);
        case.traps.remove(0);
        case
    };
    let on = |on, until| {
        let mut case = empty_sentinel();
        case.block.dispensers = Dispensers { on, until };
        case
    };
    let undeclared = || {
        let mut case = empty_sentinel();
        case.traps[0].products.clear();
        case
    };
    let both = case()
        .read("P", 5, 15, 0)
        .read("C", 5, 15, 0)
        .read("F", 5, 15, 0);
    let bait_only = case()
        .read("P", 5, 15, 0)
        .read("C", 5, 15, 0)
        .read("F", 5, 15, 3);
    let cases: [(&str, Case, Vec<Doubt>); 9] = [
        ("told", empty_sentinel(), vec![]),
        ("none hangs", no_sentinel(), vec![Doubt::NoSentinel]),
        ("not read", case().read("C", 5, 15, 5), vec![Doubt::NotRead]),
        ("both empty", both, vec![Doubt::BothEmpty]),
        ("females in the bait bag", bait_only, vec![]),
        (
            "no other trap",
            case().read("P", 5, 15, 0),
            vec![Doubt::NoOtherTrap],
        ),
        (
            "no lure declared",
            undeclared(),
            vec![Doubt::LureNotDeclared],
        ),
        (
            "not entered",
            on(None, None),
            vec![Doubt::DispensersNotEntered],
        ),
        (
            "run out, before anything was read",
            on(Some(date(4, 1)), Some(date(5, 7))),
            vec![Doubt::DispensersRunOut(date(5, 7)), Doubt::NotRead],
        ),
    ];
    for (name, case, expected) in cases {
        assert_eq!(case.as_of(5, 16).season.doubts, expected, "{name}");
    }
}

#[test]
fn a_zero_past_the_lures_life_says_nothing_and_a_catch_past_it_does() {
    // In life until 12 June: of 15 nights to 20 June seven are past it, of those to 27 June all.
    let read = |moths| {
        let case = case().read("C", 6, 20, 3).read("C", 6, 27, 3);
        case.read("P", 6, 5, 0)
            .read("P", 6, 20, 0)
            .read("P", 6, 27, moths)
    };
    let checked = read(0).as_of(6, 20);
    let sentinel = checked.week.sentinel.unwrap();
    assert_eq!(
        (sentinel.trap_nights, sentinel.nights_in_life()),
        (15, Some(7))
    );
    assert_eq!(checked.week.doubts, []);
    assert_eq!(read(0).as_of(6, 27).week.doubts, [Doubt::LurePastLife]);
    assert_eq!(read(1).as_of(6, 27).week.doubts, []);
}

#[test]
fn nights_before_the_dispensers_went_on_are_not_those_of_disruption() {
    let mut case = case()
        .read("P", 5, 8, 6)
        .read("P", 5, 15, 0)
        .read("C", 5, 15, 2);
    let note = |day, kind| sample::note(date(5, day), None, kind);
    case.notes = vec![note(8, NoteKind::DispensersOn)];
    // Noted the 8th, whatever was declared: the six moths to that day are none of its business.
    let checked = case.as_of(5, 16);
    assert_eq!(checked.dispensers.on, Some(date(5, 8)));
    let sentinel = checked.season.sentinel.unwrap();
    assert_eq!((sentinel.count, sentinel.trap_nights), (0, 7));
    assert_eq!(checked.catches, []);
    // On the day itself no night has gone by; as seen before, the note did not exist.
    let doubts = case.as_of(5, 8).season.doubts;
    assert_eq!(doubts, [Doubt::DispensersNotOn(date(5, 8)), Doubt::NotRead]);
    assert_eq!(case.as_of(5, 7).dispensers.on, Some(date(4, 1)));
}

#[test]
fn the_newest_note_of_the_year_says_until_when_dispensers_serve() {
    let until = |month, day, last| {
        let kind = NoteKind::DispensersUntil(last);
        sample::note(date(month, day), None, kind)
    };
    let mut case = empty_sentinel();
    let earlier = Note {
        date: date(5, 1) - Days::new(365),
        ..until(5, 1, date(5, 30))
    };
    case.notes = vec![until(5, 3, date(8, 15)), until(5, 1, date(8, 1)), earlier];
    assert_eq!(case.as_of(5, 16).dispensers.until, Some(date(8, 15)));
    assert_eq!(case.as_of(8, 15).season.doubts, []);
    let doubts = case.as_of(8, 16).season.doubts;
    assert_eq!(doubts, [Doubt::DispensersRunOut(date(8, 15))]);
    // New ones hung after that day serve until somebody says until when.
    case.notes
        .push(sample::note(date(8, 20), None, NoteKind::DispensersOn));
    let renewed = case.as_of(8, 21).dispensers;
    assert_eq!((renewed.on, renewed.until), (Some(date(8, 20)), None));
}

#[test]
fn two_moths_or_a_catch_on_two_readings_running_are_told_at_once() {
    let check = |counts: [u32; 3], expected: &[(u32, bool)]| {
        let weeks = counts.iter().zip([8, 15, 22]);
        let read = weeks.fold(case(), |case, (count, day)| case.read("P", 5, day, *count));
        let catches = read.as_of(5, 23).catches;
        let told = catches.iter().map(|caught| (caught.count, caught.running));
        assert_eq!(told.collect::<Vec<_>>(), expected, "{counts:?}");
    };
    check([0, 0, 0], &[]);
    check([0, 1, 0], &[]);
    check([1, 0, 1], &[]);
    check([0, 2, 0], &[(2, false)]);
    check([1, 1, 0], &[(1, true)]);
    check([1, 3, 1], &[(3, true), (1, true)]);
}

#[test]
fn a_reference_block_gives_the_share_that_did_not_come() {
    // R: 70 males in 14 nights, 5 a night. P: 7 in 14, 0.5: ten times fewer, 90 %.
    let mut case = case().read("R", 5, 8, 30).read("R", 5, 15, 40);
    case = case.read("P", 5, 8, 7).read("P", 5, 15, 0);
    let window = case.as_of(5, 16).season;
    let sentinel = window.sentinel.unwrap();
    let reference = &window.references[0];
    assert_eq!((reference.haul.count, reference.haul.trap_nights), (70, 14));
    let percent = reference.shutdown_percent(&sentinel).unwrap();
    assert!((percent - 90.0).abs() < 1e-9, "{percent}");
    assert!(reference.same_station && !reference.near_disruption);
    // Turned round there is no share to give, and none of a reference that caught nothing.
    let other = Reference {
        haul: sentinel.clone(),
        ..reference.clone()
    };
    assert_eq!(other.shutdown_percent(&reference.haul), None);
    let empty = Reference {
        haul: Haul {
            count: 0,
            ..sentinel.clone()
        },
        ..other
    };
    assert_eq!(empty.shutdown_percent(&sentinel), None);
}

#[test]
fn reference_blocks_are_conventional_and_those_of_the_same_station_come_first() {
    let mut case = empty_sentinel()
        .read("R", 5, 15, 9)
        .read("R2", 5, 15, 8)
        .read("R3", 5, 15, 7);
    let other = |id: &str, station: &str, regime| Block {
        id: BlockId::new(id).unwrap(),
        station: StationId::new(station).unwrap(),
        regime,
        near: [Near::Disruption].into(),
        ..sample::block()
    };
    case.others
        .insert(0, other("K2", "far", Regime::Conventional));
    case.others.push(other("K3", "S", Regime::MatingDisruption));
    case.traps.push(trap("R2", "K2", TrapKind::Pheromone));
    case.traps.push(trap("R3", "K3", TrapKind::Pheromone));
    let checked = case.as_of(5, 16);
    let beside = checked.season.references.iter();
    let beside: Vec<_> = beside
        .map(|r| (r.block.as_str(), r.same_station, r.near_disruption))
        .collect();
    assert_eq!(beside, [("K", true, false), ("K2", false, true)]);
}
