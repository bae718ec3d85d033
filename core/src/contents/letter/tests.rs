use super::*;
use crate::id::{BlockId, InsectId, StationId};
use crate::orchard::{Orchard, TrapKind};
use crate::sample;
use crate::season::StationHeat;
use crate::season::tests::{date, received};
use crate::temperature::Unit;
use crate::trapping::{Note, NoteKind, Notes, Visit, Visits};
use crate::weather::StationWeather;

const AS_OF: (i32, u32, u32) = (2021, 6, 7);

fn as_of() -> NaiveDate {
    date(AS_OF.0, AS_OF.1, AS_OF.2)
}

/// Four egg traps read clean on 12 and 15 April, and a pheromone trap of this year and of the last one.
fn season(eggs: &[(NaiveDate, u32)], notes: &[Note]) -> BlockSeason {
    let mut traps: Vec<_> = ["E1", "E2", "E3", "E4"]
        .map(|id| sample::trap(id, TrapKind::Egg, date(2021, 3, 20)))
        .into();
    traps.push(sample::trap("P1", TrapKind::Pheromone, date(2021, 3, 20)));
    let mut earlier = sample::trap("P0", TrapKind::Pheromone, date(2020, 3, 20));
    earlier.removed = Some(date(2020, 11, 1));
    traps.push(earlier);
    let clean = [date(2021, 4, 12), date(2021, 4, 15)].map(|day| (day, 0));
    let rounds = clean.into_iter().chain(eggs.iter().copied());
    let mut visits: Vec<Visit> = rounds
        .flat_map(|(day, eggs)| {
            ["E1", "E2", "E3", "E4"].map(|id| Visit {
                eggs: Some(eggs),
                ..sample::visit(id, day)
            })
        })
        .collect();
    let moths = |trap, day, males| Visit {
        males: Some(males),
        ..sample::visit(trap, day)
    };
    visits.extend([
        moths("P1", date(2021, 5, 30), 2),
        moths("P1", date(2021, 6, 5), 12),
        moths("P0", date(2020, 5, 20), 1),
        moths("P0", date(2020, 6, 4), 30),
    ]);
    let orchard = Orchard::new(vec![sample::block()], traps, Vec::new());
    let weather = StationWeather::alone(StationId::new("S").unwrap(), &received(as_of()), as_of());
    let insect = sample::insect();
    let heat = StationHeat::new(&weather, insect.heat);
    let (visits, notes) = (Visits::new(visits), Notes::new(notes.to_vec()));
    sample::assess_alone(
        &orchard,
        (&sample::block(), &insect),
        &heat,
        &visits,
        &notes,
    )
}

/// A start set by hand to 1 May: 20 °F-days a day, so 37 days to 6 June are 740, and 100 was reached on
/// 5 May.
fn started() -> BlockSeason {
    let start = NoteKind::EggLayingStart(date(2021, 5, 1).into());
    season(&[], &[sample::note(date(2021, 5, 1), None, start)])
}

fn station(newest: Option<NaiveDate>) -> StationView {
    StationView {
        station: StationId::new("S").unwrap(),
        name: "Yard logger".to_owned(),
        unit: Unit::Fahrenheit,
        newest,
        suspects: Vec::new(),
        estimated: Vec::new(),
        stood_in: Vec::new(),
        drifts: Vec::new(),
        borrowed: None,
        forecast: None,
    }
}

fn told(event: &str, value: Option<Value>, on: NaiveDate) -> Told {
    Told {
        year: 2021,
        block: BlockId::new("B").unwrap(),
        insect: InsectId::new("navel-orangeworm").unwrap(),
        event: event.to_owned(),
        revision: 1,
        value,
        on,
        step: 1,
        history: false,
        of_variety: false,
        corrected_on: None,
        taken_back: None,
    }
}

fn written(season: &BlockSeason, newest: Option<NaiveDate>, told: &[Told]) -> Letter {
    letter(
        Words::default(),
        as_of(),
        (&[season], &[station(newest)]),
        told,
        &BTreeMap::new(),
    )
    .unwrap()
}

#[test]
fn a_week_stands_in_a_few_plain_lines() {
    let season = started();
    let hatch = told(
        "mark-passed:first-hatch",
        Some(Value::Day(date(2021, 5, 5))),
        date(2021, 6, 3),
    );
    let before = told(
        "egg-laying-start",
        Some(Value::Day(date(2021, 5, 1))),
        date(2021, 5, 31),
    );
    let letter = written(&season, Some(date(2021, 6, 6)), &[hatch, before]);
    let lines = &letter.blocks[0].lines;
    assert_eq!(lines[0], "egg-laying start: set by hand May 1");
    assert!(
        lines[1].starts_with("next: second-generation egg laying, projected Jun "),
        "{lines:?}"
    );
    // What was told a week ago or more is not repeated, and egg traps that were read in April say nothing.
    let expected = [
        "Jun 5: males up from 0.03 to 2 per trap per night (a year before 2)",
        "overdue at the traps: 4 readings",
        "told Jun 3: first egg hatch mark passed, May 5",
    ];
    assert_eq!(lines[2..], expected);
    assert!(
        letter
            .headline
            .starts_with("Week to Jun 7: second generation Jun ")
    );
    assert!(letter.trouble.is_empty());
    assert_eq!(letter.terms.len(), 3);
}

#[test]
fn a_letter_says_nothing_provisional() {
    // Eggs on one check date only: the next one decides.
    let season = season(&[(date(2021, 6, 5), 6)], &[]);
    assert_eq!(season.start.status, StartStatus::Provisional);
    assert!(next_mark(&season).is_some());
    let letter = written(&season, Some(date(2021, 6, 6)), &[]);
    let text = format!("{letter:?}");
    for word in ["provisional", "generation", "hatch", "projected"] {
        assert!(!text.contains(word), "{word}: {text}");
    }
    assert_eq!(letter.headline, "Week to Jun 7: how your blocks stand");
}

#[test]
fn a_mark_that_only_an_estimated_day_carries_over_is_left_out() {
    let mut season = started();
    for reading in &mut season.marks {
        if let Outcome::Passed { firm, .. } = &mut reading.outcome {
            *firm = false;
        }
    }
    let letter = written(&season, Some(date(2021, 6, 6)), &[]);
    assert!(!format!("{letter:?}").contains("hatch"));
}

#[test]
fn a_silent_station_and_a_withdrawal_are_said_plainly() {
    let season = started();
    let gone = told("mark-near:second-generation", None, date(2021, 6, 5));
    let letter = written(&season, Some(date(2021, 5, 30)), &[gone]);
    assert_eq!(
        letter.trouble,
        ["Yard logger has sent no temperatures since May 30; dates that rest on it are estimates"]
    );
    let withdrawn = "told Jun 5: withdrawn: second-generation egg laying".to_owned();
    assert!(letter.blocks[0].lines.contains(&withdrawn), "{letter:?}");
    let none = letter_of_nothing();
    assert_eq!(none, None);
}

fn letter_of_nothing() -> Option<Letter> {
    letter(Words::default(), as_of(), (&[], &[]), &[], &BTreeMap::new())
}
