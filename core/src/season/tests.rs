//! Whole seasons on temperatures simple enough to add up by hand.

pub(crate) mod new_year;
mod projected;

use super::*;
use crate::id::{MarkId, StationId};
use crate::insect::SpreadSource;
use crate::orchard::TrapKind;
pub(super) use crate::sample::insect;
use crate::sample::{assess_alone, block, note, trap, visit};
use crate::temperature::Unit;
use crate::trapping::{Note, NoteKind, StartStatus, Visit};
use crate::weather::{ReceivedDay, StationWeather};

pub(crate) fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

/// A day whose extremes lie between the thresholds gives its mean less 55, by any curve. They change
/// from day to day, as those of a thermometer that is alive.
fn warm(date: NaiveDate, degree_days: f64) -> ReceivedDay {
    let half = 10.0 - f64::from(date.ordinal() % 3);
    ReceivedDay {
        date,
        min: Some(55.0 + degree_days - half),
        max: Some(55.0 + degree_days + half),
        unit: Unit::Fahrenheit,
        min_flag: None,
        max_flag: None,
    }
}

pub(super) fn year_of(year: i32, degree_days: f64) -> impl Iterator<Item = ReceivedDay> {
    let days = date(year, 1, 1).iter_days();
    days.take_while(move |day| day.year() == year)
        .map(move |day| warm(day, degree_days))
}

/// Past years of 16, 20 and 24 degree-days a day, and a season of 20 known before `as_of`.
pub(crate) fn received(as_of: NaiveDate) -> Vec<ReceivedDay> {
    year_of(2018, 16.0)
        .chain(year_of(2019, 20.0))
        .chain(year_of(2020, 24.0))
        .chain(year_of(2021, 20.0).filter(|day| day.date < as_of))
        .collect()
}

pub(crate) fn heat(received: &[ReceivedDay], as_of: NaiveDate) -> StationHeat {
    let weather = StationWeather::alone(StationId::new("S").unwrap(), received, as_of);
    StationHeat::new(&weather, insect().heat)
}

/// The start set by hand to 1 May, so that only the dates matter.
pub(crate) fn started() -> Vec<Note> {
    vec![note(
        date(2021, 5, 1),
        None,
        NoteKind::EggLayingStart(date(2021, 5, 1).into()),
    )]
}

pub(crate) fn season_of(received: &[ReceivedDay], notes: &[Note], as_of: NaiveDate) -> BlockSeason {
    let orchard = Orchard::new(vec![block()], Vec::new(), Vec::new());
    let visits = Visits::default();
    assess_alone(
        &orchard,
        (&block(), &insect()),
        &heat(received, as_of),
        &visits,
        &Notes::new(notes.to_vec()),
    )
}

fn season(notes: &[Note], as_of: NaiveDate) -> BlockSeason {
    season_of(&received(as_of), notes, as_of)
}

fn outcome<'a>(season: &'a BlockSeason, mark: &str) -> &'a Outcome {
    let mut of_mark = season.marks.iter().filter(|r| r.mark.as_str() == mark);
    let outcome = &of_mark.next().unwrap().outcome;
    assert!(of_mark.next().is_none(), "a block has one {mark}");
    outcome
}

fn projection(season: &BlockSeason, mark: &str) -> Projection {
    match outcome(season, mark) {
        Outcome::Projected(projection) => *projection,
        other => panic!("{mark}: {other:?}"),
    }
}

#[test]
fn the_start_day_counts_and_a_mark_passes_on_the_day_that_reaches_it() {
    // 20 a day from 1 May: 100 at the end of 5 May.
    let season = season(&started(), date(2021, 5, 10));
    let passed = Outcome::Passed {
        date: date(2021, 5, 5),
        by_estimate: false,
        firm: true,
    };
    assert_eq!(outcome(&season, "first-hatch"), &passed);
    // 1 to 9 May: the day of telling itself is not over.
    let sum = season.degree_days.unwrap().degree_days.fahrenheit_days();
    assert!((sum - 180.0).abs() < 1e-9, "{sum}");
    assert_eq!(season.newest_day, Some(date(2021, 5, 9)));
}

#[test]
fn a_mark_ahead_is_a_range_from_the_past_years() {
    // Warming: past means 16, 20, 24 have squares 2 and products 8, so (8 + 60) / (2 + 1000), 0.0679
    // a year; the past years become 16.20, 20.14 and 24.07 a day. This season is 0.136 a day colder
    // than their mean: the week's half of it fades from 0.068 (0.4 in all), the sixty days' 0.081
    // with spring (1.4 to 1.7 in all).
    // Known to 9 May: 180. Left to 1056: 876 and what is carried, 878: 54.19, 43.60 and 36.47 days
    // from 10 May on. The middle lies within the 44th day, 22 June.
    let season = season(&started(), date(2021, 5, 10));
    let second = projection(&season, "second-generation");
    assert_eq!(second.middle, date(2021, 6, 22));
    assert_eq!(second.past_years, 3);
    assert_eq!(second.spread, SpreadSource::Assumed);
    let trend = second.shift.trend.fahrenheit_days();
    assert!((trend - 68.0 / 1002.0).abs() < 1e-9, "{trend}");
    // Usual variance 0.16 · 43.6 = 6.98, ten years' worth, and two years' worth of the own: before
    // the middle 2 · 7.13² / 3 = 33.9, together 11.46; 1.3562 · √(11.46 · 4/3) = 5.30 days. 38.30
    // lies within the 39th day, 17 June.
    assert_eq!(second.weather_early, date(2021, 6, 17));
    // After it 2 · 10.59² / 3 = 74.8, together 18.27, 6.69 days: 50.29, the 51st day, 29 June.
    assert_eq!(second.weather_late, date(2021, 6, 29));
    // The insect: 1.2816 · 90 = 115.3 °F-days; the start by hand: 3 days of 20 to each side, 60. Together
    // √(115.3² + 60²) = 130.0, at the middle year's 20.14 6.45 days. Before the middle √(5.30² + 6.45²) =
    // 8.35 days: 35.25; after it √(6.69² + 6.45²) = 9.29: 52.89. The first noon after the former is that
    // of the 36th day, 14 June, the last before the latter that of the 53rd, 1 July.
    assert_eq!(
        (second.early, second.late),
        (date(2021, 6, 14), date(2021, 7, 1))
    );
    assert!(!second.may_have_begun);
}

#[test]
fn generations_add_as_squares() {
    // Second: 130.0 to each side. Third: 1.2816 · 135.6 = 173.7 below, 137.9 above; √(130² + 173.7²) = 217.0
    // and 189.5, which are 10.8 and 9.4 days. Fourth: √(217.0² + 173.7²) = 278.0 and 234.4: 13.8 and 11.6 days.
    let season = season(&started(), date(2021, 5, 10));
    for (mark, below, above) in [
        ("third-generation", 10.8, 9.4),
        ("fourth-generation", 13.8, 11.6),
    ] {
        let range = projection(&season, mark);
        assert_eq!(range.spread, SpreadSource::PartlyAssumed);
        let days = |from: NaiveDate, to: NaiveDate| (to - from).num_days() as f64;
        let joined = |weather: f64, own: f64| weather.hypot(own);
        let before = joined(days(range.weather_early, range.middle), below);
        let after = joined(days(range.middle, range.weather_late), above);
        assert!(
            (days(range.early, range.middle) - before).abs() < 1.5,
            "{range:?}"
        );
        assert!(
            (days(range.middle, range.late) - after).abs() < 1.5,
            "{range:?}"
        );
    }
}

#[test]
fn only_the_weathers_part_is_known_to_lie_ahead() {
    // Known to 20 June: 1020 of 1056; the middle is two days on, and 130 °F-days before it lie behind.
    let season = season(&started(), date(2021, 6, 21));
    let second = projection(&season, "second-generation");
    assert_eq!(second.middle, date(2021, 6, 22));
    assert_eq!(second.weather_early, date(2021, 6, 22));
    assert!(
        (date(2021, 6, 15)..=date(2021, 6, 16)).contains(&second.early),
        "{second:?}"
    );
    assert!(second.may_have_begun);
}

#[test]
fn before_hull_split_a_generation_counts_on_from_the_mark_before() {
    // 1779 from 1 May at 20 a day: 88.95 days, within the 89th: 28 July.
    let season = season(&started(), date(2021, 8, 10));
    let passed = Outcome::Passed {
        date: date(2021, 7, 28),
        by_estimate: false,
        firm: true,
    };
    assert_eq!(outcome(&season, "third-generation"), &passed);
}

fn passed_on(day: NaiveDate) -> Outcome {
    Outcome::Passed {
        date: day,
        by_estimate: false,
        firm: true,
    }
}

/// The start on 1 May, and hull splits seen in July.
fn splits(seen: &[(&str, u32)]) -> Vec<Note> {
    let split = |(variety, day): &(&str, u32)| {
        note(date(2021, 7, *day), Some(variety), NoteKind::HullSplit)
    };
    started()
        .into_iter()
        .chain(seen.iter().map(split))
        .collect()
}

#[test]
fn the_first_variety_to_split_starts_the_blocks_one_third_generation() {
    // 723 at 20 a day are 36.15 days: from the end of 4 July (split on the 5th) within 10 August. The
    // pollinizer's split of the 28th moves nothing, and the fourth counts from the third.
    let both = season(
        &splits(&[("Nonpareil", 5), ("Monterey", 28)]),
        date(2021, 9, 20),
    );
    assert_eq!(
        outcome(&both, "third-generation"),
        &passed_on(date(2021, 8, 10))
    );
    assert_eq!(
        outcome(&both, "fourth-generation"),
        &passed_on(date(2021, 9, 15))
    );
    let early = season(&splits(&[("Nonpareil", 5)]), date(2021, 9, 20));
    assert_eq!(early.marks, both.marks);
}

#[test]
fn a_pollinizer_entered_alone_does_not_make_everything_late() {
    // The mark alone: 1056 within 22 June, and 723 more: 28 July. From the pollinizer's split on 28 July: 36.15
    // days, 2 September. Of the early variety nothing is known: half way, and from the first to the last.
    let season = season(&splits(&[("Monterey", 28)]), date(2021, 7, 29));
    let third = projection(&season, "third-generation");
    assert!(
        (date(2021, 8, 14)..=date(2021, 8, 17)).contains(&third.middle),
        "{third:?}"
    );
    assert!(
        third.early <= date(2021, 7, 28) && third.late >= date(2021, 9, 1),
        "{third:?}"
    );
    let BlockSplit::Known { unknown_before, .. } = &season.split else {
        panic!("{:?}", season.split);
    };
    assert_eq!(unknown_before, &["Nonpareil"]);
}

#[test]
fn an_expected_hull_split_counts_with_its_days() {
    let mut notes = started();
    let expected = NoteKind::HullSplitExpected(date(2021, 7, 10));
    notes.push(note(date(2021, 6, 1), Some("Nonpareil"), expected));
    let season = season(&notes, date(2021, 6, 10));
    // From 10 July on, 723 at the middle year's 20.14 a day: 35.9 days, the 36th.
    let third = projection(&season, "third-generation");
    assert_eq!(third.middle, date(2021, 8, 14));
    let second = MarkId::new("second-generation").unwrap();
    assert_eq!(season.marks[2].basis, Basis::HullSplit(second));
}

/// That the station sent none of a day, or none at all.
fn no_temperatures(day: Option<NaiveDate>) -> WhyNot {
    WhyNot::NoTemperatures {
        station: StationId::new("S").unwrap(),
        day,
    }
}

#[test]
fn a_long_gap_after_the_start_cannot_be_told_and_is_named() {
    let as_of = date(2021, 6, 1);
    let gap = |day: &ReceivedDay| (date(2021, 5, 12)..date(2021, 5, 20)).contains(&day.date);
    let with_gap: Vec<_> = received(as_of).into_iter().filter(|d| !gap(d)).collect();
    let season = season_of(&with_gap, &started(), as_of);
    let why = no_temperatures(Some(date(2021, 5, 12)));
    assert_eq!(season.degree_days, Err(why.clone()));
    let second = outcome(&season, "second-generation");
    assert_eq!(second, &Outcome::CannotTell { why });
    // What was passed before the gap stays passed.
    let hatch = outcome(&season, "first-hatch");
    assert!(matches!(hatch, Outcome::Passed { .. }));
}

#[test]
fn an_estimated_day_that_carries_a_mark_over_is_marked() {
    let as_of = date(2021, 5, 20);
    let hidden: Vec<_> = received(as_of)
        .into_iter()
        .filter(|day| day.date != date(2021, 5, 5))
        .collect();
    let season = season_of(&hidden, &started(), as_of);
    let passed = |firm| Outcome::Passed {
        date: date(2021, 5, 5),
        by_estimate: true,
        firm,
    };
    assert_eq!(outcome(&season, "first-hatch"), &passed(true));
    assert_eq!(season.degree_days.unwrap().estimated_days, 1);
    // With the 4th missing too, the estimates bring 40: the 20 measured on the 6th do not carry it.
    let known = |day: &&ReceivedDay| day.date < date(2021, 5, 7) && day.date != date(2021, 5, 4);
    let known: Vec<_> = hidden.iter().filter(known).cloned().collect();
    let early = season_of(&known, &started(), date(2021, 5, 7));
    assert_eq!(outcome(&early, "first-hatch"), &passed(false));
}

#[test]
fn without_past_years_a_mark_ahead_cannot_be_told() {
    let as_of = date(2021, 5, 10);
    let only_this: Vec<_> = year_of(2021, 20.0).filter(|day| day.date < as_of).collect();
    let season = season_of(&only_this, &started(), as_of);
    assert!(matches!(
        outcome(&season, "second-generation"),
        Outcome::CannotTell {
            why: WhyNot::NoPastYear { .. }
        }
    ));
}

/// Ten past years, the first `slow` of them at 5 degree-days a day, and this season at 20.
pub(super) fn ten_years(slow: i32, as_of: NaiveDate) -> Vec<ReceivedDay> {
    (2011..=2020)
        .flat_map(|year| year_of(year, if year < 2011 + slow { 5.0 } else { 20.0 }))
        .chain(year_of(2021, 20.0).filter(|day| day.date < as_of))
        .collect()
}

#[test]
fn a_gap_in_a_past_year_leaves_that_year_out_and_hardly_moves_the_rest() {
    let as_of = date(2021, 5, 10);
    let whole = season_of(&ten_years(0, as_of), &started(), as_of);
    let mut with_gaps = ten_years(0, as_of);
    with_gaps.retain(|day| {
        let in_gap = (date(2021, 6, 1)..date(2021, 7, 6))
            .contains(&day.date.with_year(2021).unwrap_or_default());
        !(in_gap && day.date.year() < 2013)
    });
    let gappy = projection(
        &season_of(&with_gaps, &started(), as_of),
        "third-generation",
    );
    // All years have 20 a day and are moved by 60 / 1082.5 for each year since: in the middle by
    // 0.30, and 0.25 without the two oldest, which makes 0.2 of 80 days.
    let expected = projection(&whole, "third-generation");
    let moved = (gappy.middle - expected.middle).num_days();
    assert!((0..=1).contains(&moved), "{moved}");
    assert_eq!((gappy.past_years, expected.past_years), (8, 10));
}

#[test]
fn years_that_do_not_reach_a_mark_count_as_late_and_are_named() {
    // Known to 9 May: 180 of 2502. Warming: products 10.5 · (20 - 5), so (157.5 + 60) / 1082.5,
    // 0.201 a year. The season is 3.4 warmer than the mean of the moved years, 16.6: 54 carried
    // over by mid-July, 2268 left. The fifth and sixth fastest years are three and two years old:
    // 2268 at 20.60 and 20.40 a day, 110.6 days in the middle, within the 111th from 10 May: 28
    // August. A slow year at most doubles, to 10 a day: 236 days are not enough.
    let as_of = date(2021, 5, 10);
    let fourth = projection(
        &season_of(&ten_years(3, as_of), &started(), as_of),
        "fourth-generation",
    );
    assert_eq!(fourth.middle, date(2021, 8, 28));
    assert_eq!((fourth.past_years, fourth.not_reached), (10, 3));
    assert_eq!(fourth.late, date(2021, 12, 31));
    let season = season_of(&ten_years(5, as_of), &started(), as_of);
    let why = WhyNot::NotReached { years: 5, of: 10 };
    assert_eq!(
        outcome(&season, "fourth-generation"),
        &Outcome::CannotTell { why }
    );
}

#[test]
fn a_range_by_weather_does_not_begin_on_days_known_not_to_have_reached_the_mark() {
    // One past year at 20.06 a day with the expected warming; 36 more are needed after 20 June: 1.8
    // days. The range is 1.372 · 0.4 · √1.8 · √2 = 1.04 days to each side: 0.76 to 2.84, from the
    // first day not known to the third.
    let as_of = date(2021, 6, 21);
    let received: Vec<_> = year_of(2020, 20.0)
        .chain(year_of(2021, 20.0).filter(|day| day.date < as_of))
        .collect();
    let second = projection(
        &season_of(&received, &started(), as_of),
        "second-generation",
    );
    let days = [second.weather_early, second.middle, second.weather_late];
    assert_eq!(days, [21, 22, 23].map(|day| date(2021, 6, day)));
}

#[test]
fn without_a_start_no_mark_is_told() {
    let season = season(&[], date(2021, 5, 10));
    assert!(
        season
            .marks
            .iter()
            .all(|r| matches!(r.outcome, Outcome::CannotTell { .. }))
    );
    assert!(season.degree_days.is_err());
}

#[test]
fn what_comes_later_changes_nothing() {
    let as_of = date(2021, 5, 10);
    let mut later = received(as_of);
    later.extend(year_of(2021, 35.0).filter(|day| day.date >= as_of));
    let mut notes = started();
    notes.push(note(
        date(2021, 7, 10),
        Some("Monterey"),
        NoteKind::HullSplit,
    ));
    assert_eq!(season_of(&later, &notes, as_of), season(&started(), as_of));
}

#[test]
fn a_station_without_temperatures_is_said_so() {
    let season = season_of(&[], &started(), date(2021, 5, 10));
    assert_eq!(season.degree_days, Err(no_temperatures(None)));
    assert_eq!(season.newest_day, None);
}

/// Days of 2021 on which each of four egg traps has so many eggs.
type Rounds<'a> = &'a [(u32, u32, u32)];
/// Baseline, two clean checks, then two checks that confirm 15 May.
const SPRING: [(u32, u32, u32); 5] = [(5, 2, 0), (5, 4, 0), (5, 7, 0), (5, 15, 3), (5, 18, 4)];

fn trapped(rounds: Rounds<'_>, as_of: NaiveDate) -> BlockSeason {
    let trap = |n: usize| trap(&format!("E{n}"), TrapKind::Egg, date(2021, 5, 1));
    let visit = |n: usize, &(month, day, eggs): &(u32, u32, u32)| Visit {
        eggs: Some(eggs),
        ..visit(&format!("E{n}"), date(2021, month, day))
    };
    let visits = (1..=4).flat_map(|n| rounds.iter().map(move |round| visit(n, round)));
    let visits = Visits::new(visits.collect());
    let orchard = Orchard::new(vec![block()], (1..=4).map(trap).collect(), Vec::new());
    let heat = heat(&received(as_of), as_of);
    assess_alone(
        &orchard,
        (&block(), &insect()),
        &heat,
        &visits,
        &Notes::default(),
    )
}

#[test]
fn a_second_candidate_is_of_the_overwintered_brood_alone() {
    // At 20 degree-days a day the second generation lays 53 days after 15 May, from 7 July on.
    let quiet = [(5, 22, 0), (5, 29, 0), (6, 5, 0)];
    let in_june = [(6, 10, 5), (6, 14, 5)];
    let still_quiet = [(6, 12, 0), (6, 19, 0), (6, 26, 0), (7, 3, 0)];
    let in_july = [(7, 10, 5), (7, 14, 5)];
    let candidate = |later: &[Rounds<'_>], as_of| {
        let rounds = [&SPRING[..], &quiet]
            .into_iter()
            .chain(later.iter().copied());
        let season = trapped(&rounds.flatten().copied().collect::<Vec<_>>(), as_of);
        assert_eq!(season.start.date, Some(date(2021, 5, 15)));
        season
            .start
            .evidence
            .second_candidate
            .map(|later| later.date)
    };
    assert_eq!(
        candidate(&[&in_june], date(2021, 6, 20)),
        Some(date(2021, 6, 10))
    );
    assert_eq!(
        candidate(&[&still_quiet, &in_july], date(2021, 7, 20)),
        None
    );
}

#[test]
fn the_day_before_the_check_limits_how_early_laying_may_have_begun() {
    let season = trapped(&SPRING, date(2021, 5, 20));
    assert_eq!(season.start.status, StartStatus::Confirmed);
    let second = projection(&season, "second-generation");
    // Laying may have begun seven days before the start, and not after it: 140 °F-days, beside the
    // insect's 115.3 to both sides: 181.4 before the middle and 115.3 after it, 9.0 and 5.7 days at 20.1.
    let days = |from: NaiveDate, to: NaiveDate| (to - from).num_days() as f64;
    let before = days(second.weather_early, second.middle).hypot(9.0);
    let after = days(second.middle, second.weather_late).hypot(5.7);
    assert!(
        (days(second.early, second.middle) - before).abs() < 1.5,
        "{second:?}"
    );
    assert!(
        (days(second.middle, second.late) - after).abs() < 1.5,
        "{second:?}"
    );
}

#[test]
fn the_tally_adds_up_to_the_seasons_sum_and_names_the_marks() {
    let as_of = date(2021, 5, 12);
    let mut received = received(as_of);
    received.retain(|day| day.date != date(2021, 5, 8));
    let season = season_of(&received, &started(), as_of);
    let weather = StationWeather::alone(StationId::new("S").unwrap(), &received, as_of);
    let days = tally(&season, &weather);
    assert_eq!(days.len(), 11);
    assert_eq!(
        (days[0].date, days[10].date),
        (date(2021, 5, 1), date(2021, 5, 11))
    );
    let by_hand: f64 = days
        .iter()
        .map(|day| day.degree_days.unwrap().fahrenheit_days())
        .sum();
    let total = days[10].total.unwrap().fahrenheit_days();
    let told = season
        .degree_days
        .as_ref()
        .unwrap()
        .degree_days
        .fahrenheit_days();
    assert!((by_hand - total).abs() < 1e-9 && (total - told).abs() < 1e-9);
    let passed: Vec<_> = days.iter().filter(|day| !day.passed.is_empty()).collect();
    assert_eq!(passed.len(), 1);
    assert_eq!(
        (passed[0].date, passed[0].passed[0].as_str()),
        (date(2021, 5, 5), "first egg hatch")
    );
    let estimated: Vec<_> = days
        .iter()
        .filter(|d| d.weather.unwrap().is_estimated())
        .collect();
    assert_eq!(estimated.len(), 1);
    assert_eq!(estimated[0].date, date(2021, 5, 8));
}
