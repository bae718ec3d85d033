use chrono::NaiveDate;

use super::*;
use crate::ledger::WhyGone;
use crate::ledger::event::one_of_each;
use crate::orchard::Crop;
use crate::season::First;
use crate::season::tests::{new_year::season_of_crop, received};
use crate::trapping::SoFar;
use crate::wording::gather::gathered;

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2021, month, day).unwrap()
}

fn season() -> BlockSeason {
    season_of_crop(Crop::Almond, &received(day(6, 10)), day(6, 10))
}

fn told(event: Event, change: Change, late: Option<u32>) -> Sentence {
    let season = season();
    let notice = Notice {
        year: 2021,
        block: season.block.id.clone(),
        insect: season.insect.clone(),
        event,
        revision: 1,
        step: 1,
        late,
        to_release: false,
        change,
    };
    Words::default().told(&[&notice], &season)
}

fn mark() -> MarkId {
    MarkId::new("third-generation").unwrap()
}

#[test]
fn what_comes_nearer_quotes_what_was_told_before() {
    let range = |early, middle, late| Value::Range {
        early: day(6, early),
        middle: day(6, middle),
        late: day(6, late),
    };
    let change = Change::Nearer {
        was: range(10, 15, 20),
        told_on: day(6, 1),
        now: range(13, 15, 17),
    };
    let sentence = told(Event::MarkNear(mark()), change, None);
    let brief = "third-generation egg laying";
    assert_eq!(sentence.brief, brief);
    assert_eq!(sentence.when.as_deref(), Some("Jun 13–17"));
    let whole = format!(
        "{brief}: projected Jun 13–17 (middle Jun 15); told on Jun 1 as Jun 10–20 (middle Jun 15)"
    );
    assert_eq!(sentence.whole(), whole);
}

#[test]
fn a_harvest_turns_and_is_not_corrected() {
    let change = Change::Corrected {
        was: Value::First(First::Shake),
        told_on: day(6, 1),
        now: Value::First(First::EggLaying),
    };
    let event = Event::MarginTurned(mark(), "Nonpareil".into());
    let sentence = told(event, change, None);
    let brief = "turned: harvest of Nonpareil and third-generation egg laying: egg laying first";
    assert_eq!(sentence.brief, brief);
    let whole = "harvest of Nonpareil and third-generation egg laying: turned: egg laying first; instead of the \
                 shake first, told on Jun 1";
    assert_eq!(sentence.whole(), whole);
}

#[test]
fn late_news_says_how_late_and_what_was_taken_back_what_was_told() {
    let new = |day| Change::New(Value::Day(day));
    let late = told(Event::StartProvisional, new(day(4, 12)), Some(9)).whole();
    assert_eq!(
        late,
        "egg-laying start: provisional: Apr 12; the next check decides; entered late, 9 days after"
    );
    let late = told(
        Event::MarkPassed(MarkId::new("first-hatch").unwrap()),
        new(day(6, 2)),
        Some(4),
    )
    .whole();
    assert!(
        late.ends_with("(computed; not an observation); known late, 4 days after"),
        "{late}"
    );
    let gone = Change::Withdrawn {
        was: Value::Day(day(5, 20)),
        told_on: day(6, 1),
        why: WhyGone::Flight(SoFar::NotBackTwice),
    };
    let flight = told(Event::Flight(FlightPart::End, 1), gone, None);
    assert_eq!(flight.brief, "withdrawn: end of the 1st flight");
    let whole = "end of the 1st flight: withdrawn; told on Jun 1 as May 20; now: not back at the low on \
                 two readings";
    assert_eq!(flight.whole(), whole);
}

#[test]
fn a_date_that_was_told_as_near_and_as_passed_is_taken_back_in_one_sentence() {
    let season = season();
    let gone = |event, d| Notice {
        year: 2021,
        block: season.block.id.clone(),
        insect: season.insect.clone(),
        event,
        revision: 2,
        step: 1,
        late: None,
        to_release: false,
        change: Change::Withdrawn {
            was: Value::Day(day(6, 20)),
            told_on: day(6, d),
            why: WhyGone::ShownNoMore,
        },
    };
    let notices = [
        gone(Event::MarkNear(mark()), 1),
        gone(Event::Start, 1),
        gone(Event::MarkPassed(mark()), 8),
    ];
    let notices: Vec<&Notice> = notices.iter().collect();
    let told = gathered(&notices).into_iter();
    let told: Vec<String> = told
        .map(|group| Words::default().told(&group, &season).whole())
        .collect();
    assert_eq!(told.len(), 2, "{told:?}");
    let last = "third-generation egg laying: withdrawn; told on Jun 8 as Jun 20;";
    assert!(told[0].starts_with(last), "{told:?}");
}

#[test]
fn every_event_has_a_short_line_for_a_subject_and_no_word_that_advises() {
    for event in one_of_each() {
        let value = match &event {
            Event::MarginTurned(..) => Value::First(First::Shake),
            _ => Value::Day(day(6, 2)),
        };
        let told = told(event.clone(), Change::New(value), None);
        let (brief, whole) = (&told.brief, told.whole());
        assert!((10..=90).contains(&brief.len()), "{event}: {brief}");
        for never in ["spray", "treat", "act today", "safe", "pressure", "working"] {
            assert!(!whole.contains(never), "{event}: {whole}");
        }
    }
}
