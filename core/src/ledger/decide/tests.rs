use proptest::prelude::*;

use super::*;
use crate::id::MarkId;
use crate::ledger::Hears;
use crate::ledger::event::one_of_each;

fn day(d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 6, d).unwrap()
}

fn range(early: u32, middle: u32, late: u32) -> Value {
    Value::Range {
        early: day(early),
        middle: day(middle),
        late: day(late),
    }
}

fn event() -> Event {
    Event::MarkNear(MarkId::new("second-generation").unwrap())
}

fn fact(state: State) -> Fact {
    Fact {
        year: 2022,
        block: BlockId::new("B").unwrap(),
        insect: InsectId::new("navel-orangeworm").unwrap(),
        event: event(),
        state,
        firm: true,
        knowable: None,
        to_growers: true,
        entered_by: None,
        foreseen: None,
        hears: Hears::EachTime,
    }
}

fn told(revision: u32, value: Option<Value>, on: u32) -> Told {
    Told {
        year: 2022,
        block: BlockId::new("B").unwrap(),
        insect: InsectId::new("navel-orangeworm").unwrap(),
        event: event().to_string(),
        revision,
        value,
        on: day(on),
        step: 1,
        history: false,
        of_variety: false,
        corrected_on: None,
        taken_back: None,
    }
}

fn now(value: Value, step: u8) -> Fact {
    fact(State::Now { value, step })
}

fn gone() -> Fact {
    fact(State::Gone {
        why: WhyGone::ShownNoMore,
    })
}

/// Any night but the first.
fn night(today: NaiveDate) -> Moment {
    Moment {
        today,
        told_before: today.pred_opt(),
        past: Past::Listed,
    }
}

fn with_past(past: Past, today: u32) -> Moment {
    let moment = night(day(today));
    Moment { past, ..moment }
}

fn changes_at(fact: Fact, told: &[Told], moment: Moment) -> Vec<(u32, Change)> {
    decide(&[fact], told, moment)
        .into_iter()
        .map(|notice| (notice.revision, notice.change))
        .collect()
}

fn changes(fact: Fact, told: &[Told], today: u32) -> Vec<(u32, Change)> {
    changes_at(fact, told, night(day(today)))
}

#[test]
fn an_event_is_told_once() {
    let fact = now(range(20, 24, 29), 1);
    let first = [(1, Change::New(range(20, 24, 29)))];
    assert_eq!(changes(fact.clone(), &[], 10), first);
    let before = [told(1, Some(range(20, 24, 29)), 10)];
    assert_eq!(changes(fact, &before, 11), []);
}

#[test]
fn what_is_still_far_waits_but_what_was_told_is_corrected() {
    let fact = now(range(25, 30, 30), 0);
    assert_eq!(changes(fact.clone(), &[], 10), []);
    let corrected = Change::Corrected {
        was: range(20, 24, 29),
        told_on: day(2),
        now: range(25, 30, 30),
    };
    let before = told(1, Some(range(20, 24, 29)), 2);
    assert_eq!(changes(fact, &[before], 3), [(2, corrected)]);
}

#[test]
fn what_comes_nearer_is_told_again_once_at_each_distance() {
    let before = [told(1, Some(range(20, 24, 29)), 10)];
    let nearer = Change::Nearer {
        was: range(20, 24, 29),
        told_on: day(10),
        now: range(20, 23, 26),
    };
    let fact = now(range(20, 23, 26), 2);
    assert_eq!(changes(fact.clone(), &before, 18), [(2, nearer)]);
    let notices = decide(std::slice::from_ref(&fact), &before, night(day(18)));
    let ledger = [notices[0].entered(day(18), before.first())];
    assert_eq!(changes(fact, &ledger, 19), []);
    // Farther again by a day or two it is not told a third time when it is back.
    assert_eq!(changes(now(range(20, 24, 27), 1), &ledger, 20), []);
    assert_eq!(changes(now(range(20, 23, 26), 2), &ledger, 21), []);
}

#[test]
fn a_correction_tells_how_near_it_is_by_then() {
    let before = [told(1, Some(range(20, 24, 29)), 10)];
    let notices = decide(&[now(range(12, 15, 18), 2)], &before, night(day(11)));
    assert!(matches!(notices[0].change, Change::Corrected { .. }));
    assert_eq!(notices[0].step, 2);
    // Put off beyond the first distance, it has been told all the same.
    let notices = decide(&[now(range(28, 30, 30), 0)], &before, night(day(11)));
    assert_eq!(notices[0].step, 1);
}

#[test]
fn a_smaller_move_is_not_told() {
    let before = told(1, Some(range(20, 24, 29)), 2);
    assert_eq!(changes(now(range(22, 28, 30), 1), &[before], 10), []);
}

#[test]
fn a_second_correction_waits_a_week_but_the_first_and_a_withdrawal_do_not() {
    let corrected = [Told {
        corrected_on: Some(day(5)),
        ..told(2, Some(range(20, 24, 29)), 5)
    }];
    let moved = now(range(1, 10, 15), 1);
    assert_eq!(changes(moved.clone(), &corrected, 11), []);
    assert_eq!(changes(moved.clone(), &corrected, 12).len(), 1);
    let taken_back = changes(gone(), &corrected, 6);
    assert!(matches!(taken_back[..], [(3, Change::Withdrawn { .. })]));
    // Told again nearer is no correction, and the next one need not wait for it.
    let nearer = [told(2, Some(range(20, 24, 29)), 5)];
    assert_eq!(changes(moved, &nearer, 6).len(), 1);
}

#[test]
fn near_and_passed_of_one_mark_are_one_date_that_is_corrected_once_a_week() {
    let passed = Event::MarkPassed(MarkId::new("second-generation").unwrap());
    let near = Told {
        corrected_on: Some(day(20)),
        ..told(2, Some(range(18, 22, 26)), 20)
    };
    let reached = Told {
        event: passed.to_string(),
        ..told(1, Some(Value::Day(day(22))), 23)
    };
    let moved = Fact {
        event: passed,
        ..now(Value::Day(day(19)), 1)
    };
    // The mark is no longer ahead: of that nothing is said.
    let facts = [fact(State::Pending), moved];
    let ledger = [near, reached];
    let told_on = |today| {
        let moment = Moment {
            today: day(today),
            told_before: Some(day(today - 1)),
            past: Past::Listed,
        };
        decide(&facts, &ledger, moment)
    };
    assert_eq!(told_on(26), []);
    let corrected = told_on(27);
    assert!(matches!(
        corrected[..],
        [Notice {
            change: Change::Corrected { .. },
            ..
        }]
    ));
}

/// The mark of [`event`], told as near and then as passed on 26 June, corrected at that.
fn told_as_passed() -> [Told; 2] {
    let passed = Event::MarkPassed(MarkId::new("second-generation").unwrap());
    let near = told(1, Some(range(20, 24, 29)), 12);
    let reached = Told {
        event: passed.to_string(),
        corrected_on: Some(day(26)),
        ..told(2, Some(Value::Day(day(26))), 26)
    };
    [near, reached]
}

fn passed_fact(value: Value, step: u8) -> Fact {
    Fact {
        event: Event::MarkPassed(MarkId::new("second-generation").unwrap()),
        ..now(value, step)
    }
}

fn corrections(facts: &[Fact], ledger: &[Told], today: u32) -> Vec<(String, Option<Value>)> {
    let notices = decide(facts, ledger, night(day(today)));
    assert!(
        notices
            .iter()
            .all(|n| matches!(n.change, Change::Corrected { .. })),
        "{notices:?}"
    );
    notices
        .iter()
        .map(|notice| (notice.event.to_string(), notice.change.value()))
        .collect()
}

#[test]
fn a_passed_mark_that_is_ahead_again_and_passes_again_is_told_each_time() {
    // Three maxima are corrected on the 27th: the mark is ahead.
    let ahead_again = [now(range(27, 28, 30), 2), passed_fact(range(27, 28, 30), 0)];
    let mut ledger = told_as_passed().to_vec();
    let key = "mark-passed:second-generation".to_owned();
    let told = corrections(&ahead_again, &ledger, 27);
    assert_eq!(told, [(key.clone(), Some(range(27, 28, 30)))]);
    ledger[1] = Told {
        revision: 3,
        value: Some(range(27, 28, 30)),
        on: day(27),
        corrected_on: Some(day(27)),
        ..ledger[1].clone()
    };
    // The same range again is no news, nor that it comes near.
    assert_eq!(corrections(&ahead_again, &ledger, 28), []);
    let passed_again = |d| [fact(State::Pending), passed_fact(Value::Day(day(d)), 1)];
    let told = corrections(&passed_again(28), &ledger, 29);
    assert_eq!(told, [(key.clone(), Some(Value::Day(day(28))))]);
    // To growers, who hear once, its range has held.
    let heard = passed_again(28).map(|fact| fact.heard(Hears::Once, true));
    assert_eq!(corrections(&heard, &ledger, 29), []);
    // One that was told as ahead beside another block's passes within its range as told.
    ledger[1].corrected_on = None;
    assert_eq!(corrections(&passed_again(28), &ledger, 29), []);
    let told = corrections(&passed_again(26), &ledger, 29);
    assert_eq!(told, [(key, Some(Value::Day(day(26))))]);
}

#[test]
fn what_was_withdrawn_and_holds_as_it_was_told_is_found_again_and_anything_else_is_new() {
    let withdrawn = Told {
        taken_back: Some(TakenBack {
            value: range(20, 24, 29),
            on: day(2),
        }),
        ..told(2, None, 1)
    };
    let change = |value| {
        let facts = [now(value, 1)];
        let notices = decide(&facts, [&withdrawn], night(day(10)));
        notices.into_iter().next().map(|notice| notice.change)
    };
    let found_again = Change::FoundAgain {
        was: range(20, 24, 29),
        told_on: day(2),
        withdrawn_on: withdrawn.on,
        now: range(19, 25, 30),
    };
    assert_eq!(change(range(19, 25, 30)), Some(found_again));
    let elsewhere = range(1, 10, 15);
    assert_eq!(change(elsewhere), Some(Change::New(elsewhere)));
    assert_eq!(decide(&[gone()], [&withdrawn], night(day(10))), []);
}

#[test]
fn what_changes_a_telling_by_variety_waits_for_somebody_to_look_at_it() {
    let carried = [Told {
        of_variety: true,
        ..told(1, Some(range(20, 24, 29)), 2)
    }];
    let to_release = |fact: Fact| {
        let notices = decide(&[fact], &carried, night(day(10)));
        notices
            .iter()
            .map(|notice| notice.to_release)
            .collect::<Vec<_>>()
    };
    // What still holds is not told anew, and coming nearer needs nobody's look.
    assert_eq!(to_release(now(range(22, 28, 30), 1)), [false; 0]);
    assert_eq!(to_release(now(range(22, 28, 30), 2)), [false]);
    assert_eq!(to_release(now(range(1, 10, 15), 1)), [true]);
    assert_eq!(to_release(gone()), [true]);
}

#[test]
fn what_was_told_of_a_variety_is_taken_back_once_where_the_blocks_date_is_another() {
    let mark = MarkId::new("second-generation").unwrap();
    let near = Event::MarkNearOfVariety(mark.clone(), "Fritz".into()).to_string();
    let of_variety = |value| Told {
        event: near.clone(),
        ..told(1, value, 2)
    };
    let taken_back = |facts: &[Fact], ledger: &[Told]| {
        let notices = decide(facts, ledger, night(day(10)));
        let withdrawn = notices
            .into_iter()
            .filter(|notice| notice.event.to_string() == near);
        let told = withdrawn.map(|notice| {
            assert!(notice.to_release && matches!(notice.change, Change::Withdrawn { .. }));
        });
        told.count()
    };
    let live = of_variety(Some(range(20, 24, 29)));
    let facts = |state: State| [fact(state), passed_fact(Value::Day(day(9)), 1)];
    // The block's mark passed before the range that was told of the variety.
    assert_eq!(
        taken_back(&facts(State::Pending), std::slice::from_ref(&live)),
        1
    );
    // Within it, or unknown tonight: nothing. Already taken back: nothing.
    let within = [passed_fact(Value::Day(day(21)), 1)];
    assert_eq!(taken_back(&within, std::slice::from_ref(&live)), 0);
    let unknown = [fact(State::Pending)];
    assert_eq!(taken_back(&unknown, std::slice::from_ref(&live)), 0);
    assert_eq!(taken_back(&facts(State::Pending), &[of_variety(None)]), 0);
    // Told of that variety as passed since: it is history.
    let passed = Told {
        event: format!("{}:Fritz", Event::MarkPassed(mark)),
        ..told(1, Some(Value::Day(day(5))), 5)
    };
    assert_eq!(taken_back(&facts(State::Pending), &[live, passed]), 0);
}

#[test]
fn nothing_is_taken_back_that_was_never_told_or_already_taken_back() {
    assert_eq!(changes(gone(), &[], 6), []);
    assert_eq!(changes(gone(), &[told(2, None, 5)], 6), []);
}

#[test]
fn after_a_withdrawal_it_can_be_told_again() {
    let again = changes(now(range(20, 24, 29), 1), &[told(2, None, 5)], 6);
    assert_eq!(again, [(3, Change::New(range(20, 24, 29)))]);
}

#[test]
fn a_pending_event_says_nothing() {
    let before = told(1, Some(range(20, 24, 29)), 2);
    assert_eq!(changes(fact(State::Pending), &[before], 20), []);
}

#[test]
fn what_the_records_show_no_more_is_taken_back_for_blocks_still_watched() {
    let of = |block: &str, event: &str| Told {
        block: BlockId::new(block).unwrap(),
        event: event.into(),
        ..told(1, Some(Value::Day(day(3))), 5)
    };
    let caught = "sentinel-catch:P1:2022-05-01";
    let of_another_block = of("C", caught);
    // That a part was in life after all is news to nobody.
    let lapse = of("B", "past-service-life:P1:lure:2022-05-01");
    let notices = decide(
        &[fact(State::Pending)],
        &[of("B", caught), of_another_block, lapse],
        night(day(10)),
    );
    assert_eq!(notices.len(), 1);
    assert_eq!(notices[0].block.as_str(), "B");
    assert_eq!(notices[0].revision, 2);
    assert!(matches!(notices[0].change, Change::Withdrawn { .. }));
}

#[test]
fn what_happened_before_the_first_telling_is_history() {
    let passed = now(Value::Day(day(3)), 1);
    let begins = with_past(Past::Begins, 10);
    let history = [(1, Change::History(Value::Day(day(3))))];
    assert_eq!(changes_at(passed, &[], begins), history);
    // What is ahead is news on the first night too, and so is work that is still open.
    let ahead = changes_at(now(range(2, 9, 15), 1), &[], begins);
    assert_eq!(ahead, [(1, Change::New(range(2, 9, 15)))]);
    let open = Fact {
        event: Event::HangEggTraps,
        ..now(Value::Day(day(3)), 1)
    };
    let open = changes_at(open, &[], begins);
    assert_eq!(open, [(1, Change::New(Value::Day(day(3))))]);
    // After it, an event is news however long ago it was.
    let later = changes(now(Value::Day(day(3)), 1), &[], 11);
    assert_eq!(later, [(1, Change::New(Value::Day(day(3))))]);
}

#[test]
fn history_is_listed_again_as_long_as_no_digest_has_brought_it() {
    let recorded = [Told {
        history: true,
        of_variety: false,
        ..told(1, Some(Value::Day(day(3))), 10)
    }];
    let passed = |d| now(Value::Day(day(d)), 1);
    let owed = with_past(Past::Owed, 11);
    let again = [(2, Change::History(Value::Day(day(3))))];
    assert_eq!(changes_at(passed(3), &recorded, owed), again);
    // It is the list as of tonight, and no correction of one that nobody read.
    let moved = [(2, Change::History(Value::Day(day(6))))];
    assert_eq!(changes_at(passed(6), &recorded, owed), moved);
    assert_eq!(changes_at(gone(), &recorded, owed), []);
    // News of the days between is news.
    assert_eq!(
        changes_at(passed(10), &[], owed),
        [(1, Change::New(Value::Day(day(10))))]
    );
    let listed = with_past(Past::Listed, 11);
    assert_eq!(changes_at(passed(3), &recorded, listed), []);
    let corrected = changes_at(passed(6), &recorded, listed);
    assert!(matches!(corrected[..], [(2, Change::Corrected { .. })]));
}

#[test]
fn whoever_gets_no_list_hears_of_history_only_once_it_is_ahead_again() {
    let recorded = [Told {
        history: true,
        of_variety: false,
        ..told(1, Some(Value::Day(day(3))), 10)
    }];
    let at = |d, step| {
        let fact = now(Value::Day(day(d)), step);
        changes_at(fact, &recorded, with_past(Past::Unlisted, 20))
    };
    assert_eq!(at(3, 1), []);
    assert_eq!(at(6, 1), []);
    assert_eq!(at(24, 0), []);
    assert_eq!(at(18, 1), [(2, Change::New(Value::Day(day(18))))]);
    let taken_back = changes_at(gone(), &recorded, with_past(Past::Unlisted, 20));
    assert_eq!(taken_back, []);
}

#[test]
fn news_is_late_from_two_days_on_after_the_night_it_could_be_known() {
    let late = |told_before: Option<u32>, today| {
        let fact = Fact {
            knowable: Some(day(5)),
            ..now(Value::Day(day(4)), 1)
        };
        let moment = Moment {
            told_before: told_before.map(day),
            ..night(day(today))
        };
        decide(&[fact], &[], moment)[0].late
    };
    assert_eq!(late(Some(5), 6), None);
    assert_eq!(late(Some(6), 7), Some(2));
    assert_eq!(late(Some(14), 15), Some(10));
    // Nothing was told between: the outage is late, not the entry.
    assert_eq!(late(Some(4), 15), None);
    assert_eq!(late(None, 15), None);
}

#[test]
fn a_kind_that_is_not_heard_is_no_news_but_what_was_told_of_it_is_corrected() {
    let deaf = now(Value::Day(day(3)), 1).heard(Hears::Nothing, false);
    assert_eq!(changes(deaf.clone(), &[], 10), []);
    let corrected = changes(deaf, &[told(1, Some(Value::Day(day(1))), 2)], 10);
    assert!(matches!(corrected[..], [(2, Change::Corrected { .. })]));
    let withdrawn = gone().heard(Hears::Nothing, true);
    let withdrawn = changes(withdrawn, &[told(1, Some(Value::Day(day(1))), 2)], 10);
    assert!(matches!(withdrawn[..], [(2, Change::Withdrawn { .. })]));
}

#[test]
fn what_is_not_firm_is_neither_told_nor_taken_back_where_only_firm_dates_are_heard() {
    let estimated = Fact {
        firm: false,
        ..now(Value::Day(day(3)), 1)
    };
    let grower = estimated.clone().heard(Hears::EachTime, true);
    assert_eq!(changes(grower.clone(), &[], 10), []);
    let before = [told(1, Some(Value::Day(day(9))), 2)];
    assert_eq!(changes(grower, &before, 10), []);
    assert_eq!(
        changes(estimated.heard(Hears::EachTime, false), &[], 10).len(),
        1
    );
}

/// Values that each kind of event can have.
fn value_of(event: &Event) -> Value {
    match event {
        Event::MarkNear(..) => range(20, 24, 29),
        Event::MarginTurned(..) => Value::First(crate::season::First::Shake),
        Event::SentinelCatch(..) => Value::Caught {
            date: day(1),
            count: 3,
        },
        _ => Value::Day(day(3)),
    }
}

#[test]
fn the_same_facts_are_told_once_of_every_kind_and_anew_next_season() {
    for past in [Past::Begins, Past::Listed] {
        for event in one_of_each() {
            let fact = Fact {
                event: event.clone(),
                ..now(value_of(&event), 1)
            };
            let facts = [fact.clone()];
            let first = decide(&facts, &[], with_past(past, 10));
            assert_eq!(first.len(), 1, "{event}");
            let ledger = [first[0].entered(day(10), None)];
            for (again, today) in [(past, 10), (Past::Listed, 11), (Past::Listed, 30)] {
                let second = decide(&facts, &ledger, with_past(again, today));
                assert_eq!(second, [], "{event}");
            }
            let next_year = Fact { year: 2023, ..fact };
            let notices = decide(&[next_year], &ledger, with_past(Past::Listed, 11));
            assert!(matches!(notices[0].change, Change::New(_)), "{event}");
        }
    }
}

/// A night's state of one date: projected, passed or gone, as step, and shifts in days.
fn states() -> impl Strategy<Value = Vec<State>> {
    let value = |from: u32| {
        let at = |days| day(1) + chrono::Days::new(u64::from(from + days));
        Value::Range {
            early: at(0),
            middle: at(4),
            late: at(9),
        }
    };
    let state = prop_oneof![
        8 => (0..60_u32, 0..3_u8).prop_map(move |(from, step)| State::Now { value: value(from), step }),
        1 => Just(State::Pending),
        1 => Just(State::Gone { why: WhyGone::ShownNoMore }),
    ];
    prop::collection::vec(state, 1..60)
}

proptest! {
    #[test]
    fn corrections_of_one_date_are_a_week_apart_and_quote_what_was_last_told(states in states()) {
        let mut ledger: Option<Told> = None;
        let mut corrections: Vec<NaiveDate> = Vec::new();
        for (state, today) in states.into_iter().zip(day(1).iter_days()) {
            let told: Vec<Told> = ledger.iter().cloned().collect();
            for notice in decide(&[fact(state)], &told, night(today)) {
                if let Change::Corrected { was, told_on, .. }
                    | Change::Withdrawn { was, told_on, .. }
                    | Change::Nearer { was, told_on, .. } = &notice.change
                {
                    let last = ledger.as_ref().unwrap();
                    prop_assert_eq!((Some(*was), *told_on), (last.value, last.on));
                }
                if matches!(notice.change, Change::Corrected { .. }) {
                    if let Some(last) = corrections.last() {
                        prop_assert!((today - *last).num_days() >= 7);
                    }
                    corrections.push(today);
                }
                ledger = Some(notice.entered(today, ledger.as_ref()));
            }
        }
    }
}
