use super::*;
use crate::ledger::{Moment, Notice, Past, decide};
use crate::orchard::{Orchard, Trap, TrapKind};
use crate::sample;
use crate::season::{Between, HullSplit, LayingBeside, Margin, VarietyExposure, WhyNot};
use crate::trapping::{Expected, Note, NoteKind, Visit, WhyNoFlights};
use crate::wording::Words;

fn day(d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 6, d).unwrap()
}

fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

fn season(traps: Vec<Trap>, visits: Vec<Visit>, notes: &[Note], as_of: NaiveDate) -> BlockSeason {
    let orchard = Orchard::new(vec![sample::block()], traps, Vec::new());
    sample::season(&orchard, visits, notes, as_of)
}

fn news(season: &BlockSeason) -> Vec<Notice> {
    let moment = Moment {
        today: season.as_of,
        told_before: season.as_of.pred_opt(),
        past: Past::Listed,
    };
    decide(&facts(season), &[], moment)
}

/// Key and sentence of all news of a night.
fn sentences(season: &BlockSeason) -> Vec<(String, String)> {
    let notices = news(season);
    let told = notices.iter().map(|notice| {
        let sentence = Words::default().told(&[notice], season);
        (notice.event.to_string(), sentence.whole())
    });
    told.collect()
}

#[test]
fn a_mark_after_every_varietys_shake_is_nothing_to_tell() {
    let shaken = |varieties: &[&str]| {
        let shakes = varieties
            .iter()
            .map(|variety| sample::note(day(12), Some(variety), NoteKind::Shaken));
        season(vec![], vec![], &shakes.collect::<Vec<_>>(), day(20))
    };
    let told = |d| State::told_once(Value::Day(day(d)));
    let one = shaken(&["Nonpareil"]);
    assert_eq!(unless_shaken(&one, told(12)), told(12));
    let both = shaken(&["Nonpareil", "Monterey"]);
    assert_eq!(unless_shaken(&both, told(11)), told(11));
    assert_eq!(unless_shaken(&both, told(12)), State::Pending);
}

#[test]
fn egg_traps_are_to_hang_from_march_until_one_hangs() {
    let traps = |hung| {
        let trap = |n| sample::trap(&format!("E{n}"), TrapKind::Egg, hung);
        (1..=4).map(trap).collect::<Vec<_>>()
    };
    let told = |as_of| sentences(&season(traps(date(3, 20)), vec![], &[], as_of));
    assert_eq!(told(date(2, 28)), []);
    let expected = "egg traps to hang: by Mar 15 (the extension's date): none hangs; 4 declared to hang \
                    from Mar 20 on; wanted can't tell: acres are not declared; at least 4 (UC IPM \
                    almond guideline)";
    let key = "hang-egg-traps".to_owned();
    assert_eq!(told(date(3, 1)), [(key, expected.to_owned())]);
    assert_eq!(told(date(3, 20)), []);
    // A start that is set by hand needs none.
    let by_hand = [sample::note(
        date(4, 14),
        None,
        NoteKind::EggLayingStart(date(4, 12).into()),
    )];
    let told = sentences(&season(vec![], vec![], &by_hand, date(4, 15)));
    let keys: Vec<&str> = told.iter().map(|(key, _)| key.as_str()).collect();
    assert_eq!(keys, ["egg-laying-start"]);
}

#[test]
fn moth_traps_are_to_hang_from_two_weeks_before_their_date_by_kind() {
    let last_year = |month| NaiveDate::from_ymd_opt(2021, month, 20).unwrap();
    let old = Trap {
        removed: Some(last_year(10)),
        ..sample::trap("P1", TrapKind::Pheromone, last_year(3))
    };
    let bag = sample::trap("B1", TrapKind::BaitBag, date(2, 28));
    let traps = vec![old, bag];
    let told = |as_of| sentences(&season(traps.clone(), vec![], &[], as_of));
    assert_eq!(told(date(1, 31)), []);
    let expected = "moth traps to hang: by Feb 15 (the extension's date): no pheromone or bait bag trap hangs; 1 \
                    declared to hang from Feb 28 on; wanted can't tell: acres are not declared; at least 2 \
                    (relayed from UC IPM; pointer only)";
    let key = "hang-moth-traps".to_owned();
    assert_eq!(told(date(2, 1)), [(key, expected.to_owned())]);
}

/// Four egg traps read twice a week from 1 April on, with so many eggs each.
fn egg_readings(eggs: &[u32]) -> (Vec<Trap>, Vec<Visit>) {
    let ids: Vec<String> = (1..=4).map(|n| format!("E{n}")).collect();
    let traps = ids
        .iter()
        .map(|id| sample::trap(id, TrapKind::Egg, date(3, 15)));
    let days = date(4, 1).iter_days().step_by(4);
    let visits = eggs.iter().zip(days).flat_map(|(eggs, day)| {
        ids.iter().map(move |id| Visit {
            eggs: Some(*eggs),
            ..sample::visit(id, day)
        })
    });
    (traps.collect(), visits.collect())
}

#[test]
fn a_start_is_told_by_its_status_and_late_by_the_check_that_decided() {
    // Checks of 1, 5, 9 and 13 April; those of the 9th and 13th rise.
    let (traps, visits) = egg_readings(&[0, 0, 4, 9]);
    let told = |read: usize, as_of| {
        let visits = visits[..read * 4].to_vec();
        sentences(&season(traps.clone(), visits, &[], as_of))
    };
    let one = |key: &str, whole: &str| vec![(key.to_owned(), whole.to_owned())];
    let provisional = "egg-laying start: provisional: Apr 9; the next check decides";
    assert_eq!(told(3, date(4, 10)), one("start-provisional", provisional));
    let confirmed = "egg-laying start: Apr 9, confirmed";
    assert_eq!(told(4, date(4, 14)), one("egg-laying-start", confirmed));
    let late = format!("{confirmed}; entered late, 3 days after");
    assert_eq!(told(4, date(4, 17)), one("egg-laying-start", &late));
    // A provisional start is nothing for a grower, whatever they chose.
    let season = season(traps.clone(), visits[..12].to_vec(), &[], date(4, 10));
    let firm = |fact: Fact| fact.heard(Hears::EachTime, true);
    let heard: Vec<Fact> = facts(&season).into_iter().map(firm).collect();
    let told = heard
        .iter()
        .any(|fact| matches!(fact.state, State::Now { .. }));
    assert!(!told);
}

#[test]
fn a_second_candidate_is_told_once_and_settled_by_a_start_set_by_hand() {
    // Confirmed on 9 April, then quiet from the 17th to 3 May, and up again on 7 and 11 May.
    let (traps, visits) = egg_readings(&[0, 0, 4, 9, 0, 0, 0, 0, 0, 6, 12]);
    let candidate = |notes: &[Note]| {
        let season = season(traps.clone(), visits.clone(), notes, date(5, 12));
        let found = facts(&season)
            .into_iter()
            .find(|f| f.event == Event::SecondCandidate);
        found.unwrap().state
    };
    assert_eq!(candidate(&[]), State::told_once(Value::Day(date(5, 7))));
    let by_hand = NoteKind::EggLayingStart(date(5, 7).into());
    let settled = candidate(&[sample::note(date(5, 12), None, by_hand)]);
    assert_eq!(settled, State::Pending);
}

/// The moth catches of a trap read weekly from 8 April on.
fn moths(counts: &[u32]) -> (Vec<Trap>, Vec<Visit>) {
    let days = date(4, 8).iter_days().step_by(7);
    let visits = counts.iter().zip(days).map(|(count, day)| Visit {
        males: Some(*count),
        ..sample::visit("P1", day)
    });
    let trap = sample::trap("P1", TrapKind::Pheromone, date(4, 1));
    (vec![trap], visits.collect())
}

fn flights_told(counts: &[u32], as_of: NaiveDate) -> Vec<(String, String)> {
    let (traps, visits) = moths(counts);
    let mut told = sentences(&season(traps, visits, &[], as_of));
    told.retain(|(key, _)| key.starts_with("flight"));
    told
}

#[test]
fn start_peak_and_end_of_a_flight_are_told_as_observed() {
    // Read on 8, 15, 22, 29 April, 6, 13 and 20 May.
    let told = flights_told(&[0, 1, 12, 24, 5, 1, 0], date(5, 21));
    let start =
        "1st flight: started between Apr 15 and Apr 22 (12 caught, 1 of 1 traps read), males";
    let peak = "1st flight: peak between Apr 22 and Apr 29 (24 caught, 1 of 1 traps read), males";
    let keys: Vec<&str> = told.iter().map(|(key, _)| key.as_str()).collect();
    assert_eq!(keys, ["flight-start:1", "flight-peak:1", "flight-end:1"]);
    assert_eq!([&told[0].1, &told[1].1], [start, peak]);
    assert!(told[2].1.contains("back at the low between"), "{told:?}");
    // Before the fall there is no peak to tell.
    let rising = flights_told(&[0, 1, 12, 24], date(4, 30));
    assert_eq!(rising.len(), 1);
}

#[test]
fn late_readings_that_show_an_earlier_flight_correct_the_first_and_add_a_second() {
    let later = [0, 0, 0, 0, 0, 0, 0, 0, 20, 40, 8, 1];
    let mut both = later;
    both[1..5].copy_from_slice(&[15, 30, 10, 1]);
    let as_of = date(6, 26);
    let season_of = |counts: &[u32]| {
        let (traps, visits) = moths(counts);
        season(traps, visits, &[], as_of)
    };
    let moment = Moment {
        today: as_of,
        told_before: as_of.pred_opt(),
        past: Past::Listed,
    };
    let first = decide(&facts(&season_of(&later)), &[], moment);
    let ledger: Vec<_> = first.iter().map(|n| n.entered(as_of, None)).collect();
    let then = decide(&facts(&season_of(&both)), &ledger, moment);
    let of = |key: &str| {
        let notice = then.iter().find(|n| n.event.to_string() == key);
        notice.map(|notice| notice.change.name())
    };
    assert_eq!(of("flight-start:1"), Some("corrected"));
    assert_eq!(of("flight-start:2"), Some("new"));
    assert!(then.iter().all(|n| n.change.name() != "withdrawn"));
}

#[test]
fn flights_that_cannot_be_read_any_more_are_not_taken_back() {
    let as_of = date(5, 21);
    let (traps, visits) = moths(&[0, 1, 20, 40, 8, 1, 0]);
    let seen = season(traps, visits, &[], as_of);
    let unread = BlockSeason {
        flights: Err(WhyNoFlights::NoTraps),
        ..seen.clone()
    };
    let states: Vec<State> = flights(&unread)
        .into_iter()
        .map(|(_, state)| state)
        .collect();
    assert!(states.iter().all(|state| *state == State::Pending));
    let told = flights(&unread);
    assert!(
        flights(&seen)
            .iter()
            .all(|(event, _)| told.iter().any(|(e, _)| e == event))
    );
}

#[test]
fn a_harvest_is_told_a_month_ahead_and_again_when_the_other_comes_first() {
    let by_hand = [sample::note(
        date(4, 14),
        None,
        NoteKind::EggLayingStart(date(4, 12).into()),
    )];
    let at = |as_of, likely, shake: fn(Expected) -> Shake| {
        let days = Expected {
            earliest: date(8, 10),
            likely: date(8, 14),
            latest: date(8, 20),
        };
        let margin = Margin {
            between: Some(Between {
                likely,
                least: likely,
                most: likely,
            }),
            chance: None,
        };
        let third = LayingBeside {
            mark: "third-generation".parse().unwrap(),
            name: "third-generation egg laying".into(),
            laying: Outcome::CannotTell {
                why: WhyNot::NoStart,
            },
            near: true,
            hatch: None,
            after_split: None,
            at_harvest: Some(margin),
        };
        let exposure = vec![VarietyExposure {
            variety: "Nonpareil".into(),
            split: HullSplit::NotKnown,
            shake: Some(shake(days)),
            layings: vec![third],
        }];
        let season = season(vec![], vec![], &by_hand, as_of);
        let season = BlockSeason { exposure, ..season };
        let mut margins = margins(&season);
        margins.next().unwrap()
    };
    let (event, state) = at(date(7, 15), 3, Shake::Expected);
    assert_eq!(
        event.to_string(),
        "margin-turned:third-generation:Nonpareil"
    );
    let first = |first, step| State::Now {
        value: Value::First(first),
        step,
    };
    use crate::season::First::{EggLaying, Shake as ShakeFirst};
    // 14 August is 30 days after 15 July.
    assert_eq!(state, first(ShakeFirst, 1));
    assert_eq!(at(date(7, 14), -3, Shake::Expected).1, first(EggLaying, 0));
    // On one day neither comes first, and after the shake nothing turns.
    assert_eq!(at(date(7, 15), 0, Shake::Expected).1, State::Pending);
    let done = |days: Expected| Shake::Done(days.likely);
    assert_eq!(at(date(8, 15), -3, done).1, State::Pending);
}

/// A season of 20 °F-days a day from a start on 1 May; first hatch passes on 5 May, which is missing or
/// not, with the day before it.
fn hatching(missing: bool, as_of: NaiveDate) -> BlockSeason {
    use crate::season::tests::{received, season_of, started};
    let gone = [4, 5].map(|d| NaiveDate::from_ymd_opt(2021, 5, d).unwrap());
    let mut days = received(as_of);
    days.retain(|day| !gone.contains(&day.date) || !missing);
    season_of(&days, &started(), as_of)
}

#[test]
fn growers_hear_of_a_mark_once_measured_days_carry_it() {
    let passed = |missing, d, only_firm| {
        let as_of = NaiveDate::from_ymd_opt(2021, 5, d).unwrap();
        let season = hatching(missing, as_of);
        let heard = facts(&season)
            .into_iter()
            .map(|f| f.heard(Hears::EachTime, only_firm));
        let mut of_hatch = heard.filter(|fact| fact.event.to_string() == "mark-passed:first-hatch");
        matches!(of_hatch.next().unwrap().state, State::Now { step: 1, .. })
    };
    assert!(passed(false, 6, true));
    // The estimated days bring 40; on the morning of the 7th only the 6th is measured after them.
    assert!(passed(true, 7, false) && !passed(true, 7, true));
    assert!(passed(true, 9, true));
    let season = hatching(true, NaiveDate::from_ymd_opt(2021, 5, 7).unwrap());
    let told = sentences(&season);
    let expected = "first egg hatch: degree-day mark passed May 5 (computed, carried over by an \
                    estimated day; not an observation)";
    assert!(told.iter().any(|(_, whole)| whole == expected), "{told:?}");
}
