use chrono::Days;
use proptest::prelude::*;

use super::*;
use crate::ledger::Hears;
use crate::ledger::{Fact, Moment, Past, State, WhyGone, decide, facts};
use crate::orchard::Crop;
use crate::season::tests::{date, new_year::season_of_crop, received};

/// Past years of 16, 20 and 24 degree-days a day, this one of 20: the second peak, at 2200, is
/// projected about 20 April and passed on the 20th.
fn season(as_of: NaiveDate) -> BlockSeason {
    season_of_crop(Crop::Pistachio, &received(as_of), as_of)
}

fn ann() -> PersonId {
    PersonId::new("ann").unwrap()
}

/// One person's ledger, night by night.
#[derive(Default)]
struct Ledger(Vec<Told>);

impl Ledger {
    /// Tells what there is to tell of a mark and gives the entries.
    fn tell(&mut self, facts: &[Fact], season: &BlockSeason, today: NaiveDate) -> Vec<KeyDate> {
        let moment = Moment {
            today,
            told_before: today.pred_opt(),
            past: Past::Listed,
        };
        let notices = decide(facts, &self.0, moment);
        let dates = key_dates(Words::default(), &ann(), &[season], &notices, &self.0);
        for notice in notices {
            let key = notice.event.to_string();
            let before = self.0.iter().position(|told| told.event == key);
            let before = before.map(|at| self.0.swap_remove(at));
            self.0.push(notice.entered(today, before.as_ref()));
        }
        dates
    }

    fn night(&mut self, today: NaiveDate) -> Vec<KeyDate> {
        let season = season(today);
        self.tell(&facts(&season), &season, today)
    }
}

#[test]
fn an_entry_spans_its_range_and_then_moves_to_the_day_of_passing() {
    let mut ledger = Ledger::default();
    let now = season(date(2021, 4, 10));
    let range = now.marks[1].outcome.projection().unwrap();
    let [near] = &ledger.night(now.as_of)[..] else {
        panic!("the start of the flights is first told as passed, only peak 1 is near");
    };
    assert_eq!(near.standing, DateState::Projected);
    assert_eq!(near.title, "Projected: new-crop flight peak 1, Bench");
    assert_eq!((near.first, near.last), (range.early, range.late));
    assert_eq!(near.sequence, 0);
    let words = Words::default().value(range.into());
    assert_eq!(
        near.lines[0],
        format!("Bench: new-crop flight peak 1: projected {words}.")
    );
    assert_eq!(ledger.night(date(2021, 4, 11)), []);

    // 20 a day since 1 January: 2200 at the end of day 110.
    let dates = ledger.night(date(2021, 4, 21));
    let passed = dates.iter().find(|date| date.entry == near.entry).unwrap();
    assert_eq!(passed.entry, near.entry);
    assert_eq!(passed.standing, DateState::Passed);
    assert_eq!(
        passed.title,
        "Computed: mark passed, new-crop flight peak 1, Bench"
    );
    assert_eq!(
        (passed.first, passed.last),
        (date(2021, 4, 20), date(2021, 4, 20))
    );
    assert_eq!(passed.sequence, 1);
}

#[test]
fn a_mark_first_told_as_passed_has_no_entry() {
    let dates = Ledger::default().night(date(2021, 4, 25));
    let passed = |date: &KeyDate| date.standing == DateState::Passed;
    assert!(!dates.iter().any(passed), "{dates:#?}");
}

#[test]
fn a_mark_told_as_passed_that_is_ahead_again_has_its_range_again() {
    let today = date(2021, 4, 10);
    let season = season(today);
    let range = Value::from(season.marks[1].outcome.projection().unwrap());
    let mut ledger = Ledger::default();
    ledger.night(today);
    let passed = facts(&season)
        .into_iter()
        .map(|fact| with_day(fact, today))
        .collect::<Vec<_>>();
    ledger.tell(&passed, &season, today);
    let [ahead] = &ledger.night(today + Days::new(1))[..] else {
        panic!("the mark told as passed is ahead again");
    };
    assert_eq!(ahead.standing, DateState::Projected);
    let Value::Range { early, late, .. } = range else {
        panic!("a projection has a range");
    };
    assert_eq!((ahead.first, ahead.last), (early, late));
    assert!(ahead.lines[0].contains(&Words::default().value(range)));
    assert_eq!(ahead.sequence, 2);
}

/// The same fact, with any mark passed that day.
fn with_day(fact: Fact, day: NaiveDate) -> Fact {
    let state = match (&fact.event, &fact.state) {
        (Event::MarkPassed(..), State::Now { .. }) => State::Now {
            value: Value::Day(day),
            step: 1,
        },
        (Event::MarkNear(..), State::Now { .. }) => State::Pending,
        _ => fact.state,
    };
    Fact { state, ..fact }
}

#[test]
fn the_blocks_own_entry_takes_those_of_its_varieties_out_once() {
    let today = date(2021, 4, 10);
    let season = season(today);
    let mark = season.marks[1].mark.clone();
    let near = Event::MarkNear(mark);
    let told = |event: String, of_variety| Told {
        event,
        of_variety,
        ..notice_of(&season, &near).entered(today, None)
    };
    let mut ledger = Ledger(vec![
        told(near.to_string(), true),
        told(format!("{near}:Carmel"), false),
        told(format!("{near}:Fritz"), false),
    ]);
    let moved = facts(&season)
        .into_iter()
        .map(|fact| with_range(fact, &near))
        .collect::<Vec<_>>();
    let dates = ledger.tell(&moved, &season, today + Days::new(1));
    let entries: Vec<_> = dates
        .iter()
        .map(|date| (date.entry.variety.as_deref(), date.standing))
        .collect();
    use DateState::{Projected, Withdrawn};
    let expected = [
        (Some("Carmel"), Withdrawn),
        (Some("Fritz"), Withdrawn),
        (None, Projected),
    ];
    assert_eq!(entries.len(), 3, "{entries:?}");
    assert!(
        expected.iter().all(|entry| entries.contains(entry)),
        "{entries:?}"
    );
}

/// What is first told of an event.
fn notice_of(season: &BlockSeason, event: &Event) -> Notice {
    let moment = Moment {
        today: season.as_of,
        told_before: season.as_of.pred_opt(),
        past: Past::Listed,
    };
    let mut notices = decide(&facts(season), &[], moment).into_iter();
    notices.find(|notice| notice.event == *event).unwrap()
}

/// The same fact, with the event a month later.
fn with_range(fact: Fact, event: &Event) -> Fact {
    let [early, middle, late] = [date(2021, 5, 18), date(2021, 5, 20), date(2021, 5, 22)];
    let state = match fact.event == *event {
        true => State::Now {
            value: Value::Range {
                early,
                middle,
                late,
            },
            step: 1,
        },
        false => fact.state,
    };
    Fact { state, ..fact }
}

#[test]
fn what_the_file_does_is_one_sentence() {
    let entry = &Ledger::default().night(date(2021, 4, 10))[0];
    let of = |standings: &[DateState]| {
        let dates: Vec<KeyDate> = standings
            .iter()
            .map(|standing| KeyDate {
                standing: *standing,
                ..entry.clone()
            })
            .collect();
        note(&dates)
    };
    let check = |standings: &[DateState], said: &str| {
        assert_eq!(of(standings).as_deref(), Some(said));
    };
    use DateState::{Passed, Projected, Withdrawn};
    check(
        &[Projected],
        "The attached calendar file puts this entry into your calendar, or moves what is there.",
    );
    check(
        &[Withdrawn],
        "The attached calendar file takes this entry out of your calendar.",
    );
    check(
        &[Passed, Projected, Projected],
        "The attached calendar file puts these entries into your calendar, or moves what is there.",
    );
    assert_eq!(of(&[]), None);
}

/// How the two events of a mark stand on a night: the mark is ahead, passed, can't be told or gone.
fn mark_states() -> impl Strategy<Value = (State, State)> {
    let day = |n: u64| date(2021, 4, 1) + Days::new(n);
    let now = |value, step| State::Now { value, step };
    let gone = || State::Gone {
        why: WhyGone::ShownNoMore,
    };
    prop_oneof![
        (0..60_u64, 0..3_u8).prop_map(move |(n, step)| {
            let (early, middle, late) = (day(n), day(n + 3), day(n + 6));
            let value = Value::Range {
                early,
                middle,
                late,
            };
            (now(value, step), now(Value::Day(middle), 0))
        }),
        (0..60_u64).prop_map(move |n| { (State::Pending, now(Value::Day(day(n)), 1)) }),
        Just((State::Pending, State::Pending)),
        Just((gone(), gone())),
    ]
}

proptest! {
    #[test]
    fn each_telling_of_an_entry_has_a_higher_sequence_and_only_what_is_in_is_taken_out(
        nights in proptest::collection::vec(mark_states(), 1..40)
    ) {
        let season = season(date(2021, 4, 10));
        let [near, passed] = [Event::MarkNear, Event::MarkPassed]
            .map(|event| event(season.marks[1].mark.clone()));
        let mut ledger = Ledger::default();
        let mut before: Option<KeyDate> = None;
        for (place, (of_near, of_passed)) in nights.into_iter().enumerate() {
            let fact = |event: &Event, state| Fact {
                year: season.year,
                block: season.block.id.clone(),
                insect: season.insect.clone(),
                event: event.clone(),
                state,
                firm: true,
                knowable: None,
                to_growers: true,
                entered_by: None,
                foreseen: None,
                hears: Hears::EachTime,
            };
            let facts = [fact(&near, of_near), fact(&passed, of_passed)];
            let today = date(2021, 4, 10) + Days::new(place as u64);
            let told = ledger.tell(&facts, &season, today);
            prop_assert!(told.len() <= 1, "one entry for a mark: {told:?}");
            let Some(now) = told.into_iter().next() else { continue };
            prop_assert!(now.first <= now.last);
            let stood = before.as_ref().is_some_and(|b| b.standing != DateState::Withdrawn);
            if let Some(before) = &before {
                prop_assert!(now.sequence > before.sequence, "{before:?} {now:?}");
            }
            prop_assert!(stood || now.standing == DateState::Projected, "{now:?}");
            before = Some(now);
        }
    }
}
