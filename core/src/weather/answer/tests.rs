//! On real records, whole: what an archive may answer passes on every stretch, and nonsense does not.

use std::io::Read;

use chrono::Datelike;
use flate2::read::GzDecoder;

use super::*;

/// A record of `tests/data/stations/daily`, in °F.
fn record(packed: &[u8]) -> Vec<ReceivedDay> {
    let mut text = String::new();
    GzDecoder::new(packed).read_to_string(&mut text).unwrap();
    let fahrenheit = |cell: Option<&str>| Some(cell?.parse::<f64>().ok()? * 1.8 + 32.0);
    text.lines()
        .skip(1)
        .map(|line| {
            let mut cells = line
                .split(',')
                .skip_while(|cell| cell.parse::<NaiveDate>().is_err());
            let date = cells.next().unwrap().parse().unwrap();
            day(date, fahrenheit(cells.next()), fahrenheit(cells.next()))
        })
        .collect()
}

fn day(date: NaiveDate, min: Option<f64>, max: Option<f64>) -> ReceivedDay {
    ReceivedDay {
        date,
        min,
        max,
        unit: Unit::Fahrenheit,
        min_flag: None,
        max_flag: None,
    }
}

macro_rules! records {
    ($($name:literal),* $(,)?) => {
        [$(($name, record(include_bytes!(concat!(
            "../../../../tests/data/stations/daily/", $name, ".csv.gz"
        ))))),*]
    };
}

fn records() -> [(&'static str, Vec<ReceivedDay>); 11] {
    records!(
        "CIMIS-15",
        "CIMIS-2",
        "CIMIS-39",
        "CIMIS-7",
        "CIMIS-80",
        "COOP-FRESNO-AP",
        "COOP-HANFORD",
        "COOP-MADERA",
        "GHCN-MERCED",
        "THREADEX-FRESNO",
        "USCRN-93243",
    )
}

fn own(days: &[ReceivedDay], as_of: NaiveDate) -> Option<OwnRecord> {
    OwnRecord::new(days, &[], &StationFacts::default(), as_of)
}

fn judged(answer: &[ReceivedDay], own: Option<&OwnRecord>) -> Result<(), Oddity> {
    judge_answer(answer, own, &[], &StationFacts::default(), NaiveDate::MAX)
}

/// Stretches of sixty days, one begun every so many days, that have most of their days.
fn windows(days: &[ReceivedDay], every: usize) -> impl Iterator<Item = &[ReceivedDay]> {
    let whole = |window: &&[ReceivedDay]| (window[59].date - window[0].date).num_days() < 66;
    days.windows(60).step_by(every).filter(whole)
}

/// Each day changed in the same way, its values in °F.
fn each(days: &[ReceivedDay], change: impl Fn(f64, f64) -> (f64, f64)) -> Vec<ReceivedDay> {
    let changed = |one: &ReceivedDay| match (one.min, one.max) {
        (Some(min), Some(max)) => {
            let (min, max) = change(min, max);
            day(one.date, Some(min), Some(max))
        }
        _ => day(one.date, None, None),
    };
    days.iter().map(changed).collect()
}

fn shifted(days: &[ReceivedDay], later: bool) -> Vec<ReceivedDay> {
    let date = |date: NaiveDate| match later {
        true => date.succ_opt().unwrap(),
        false => date.pred_opt().unwrap(),
    };
    days.iter()
        .map(|one| day(date(one.date), one.min, one.max))
        .collect()
}

fn labelled(days: &[ReceivedDay], unit: Unit) -> Vec<ReceivedDay> {
    let label = |one: &ReceivedDay| ReceivedDay {
        unit,
        ..one.clone()
    };
    days.iter().map(label).collect()
}

const fn celsius(value_f: f64) -> f64 {
    (value_f - 32.0) / 1.8
}

/// Every tenth day revised by up to 6 °F, and one of them a reading put right.
fn revised(days: &[ReceivedDay]) -> Vec<ReceivedDay> {
    let mut days = days.to_vec();
    for (count, one) in days.iter_mut().step_by(10).enumerate() {
        let by = count as f64 * 2.0 - 6.0;
        one.min = one.min.map(|min| min - by.abs());
        one.max = one.max.map(|max| {
            if count == 2 {
                max + 25.0
            } else {
                max + by.abs()
            }
        });
    }
    days
}

#[test]
fn true_answers_of_every_real_year_are_taken_as_revisions_and_as_new_days() {
    for (name, days) in records() {
        let whole = own(&days, NaiveDate::MAX);
        for window in windows(&days, 7) {
            let first = window[0].date;
            for (what, answer) in [
                ("as it was", window.to_vec()),
                ("revised", revised(window)),
                (
                    "whole °F",
                    each(window, |min, max| (min.round(), max.round())),
                ),
                (
                    "whole °C",
                    labelled(
                        &each(window, |min, max| {
                            (celsius(min).round(), celsius(max).round())
                        }),
                        Unit::Celsius,
                    ),
                ),
            ] {
                assert_eq!(
                    judged(&answer, whole.as_ref()),
                    Ok(()),
                    "{name} {first} {what}"
                );
            }
        }
        // As a station's first answers: year by year, the oldest first.
        for year in days.chunk_by(|a, b| a.date.year() == b.date.year()) {
            let from = year[0].date;
            let before: Vec<ReceivedDay> = days
                .iter()
                .take_while(|day| day.date < from)
                .cloned()
                .collect();
            assert_eq!(
                judged(year, own(&before, NaiveDate::MAX).as_ref()),
                Ok(()),
                "{name} {from}"
            );
        }
    }
}

#[test]
fn nonsense_in_the_place_of_any_real_stretch_is_refused_and_named() {
    for (name, days) in records() {
        let whole = own(&days, NaiveDate::MAX);
        for window in windows(&days, 20) {
            let check = |answer: &[ReceivedDay], expected: &str| {
                let oddity = judged(answer, whole.as_ref()).map_err(|oddity| oddity.name());
                assert_eq!(oddity, Err(expected), "{name} {}", window[0].date);
            };
            check(&labelled(window, Unit::Celsius), "other-unit");
            check(
                &each(window, |min, max| (celsius(min), celsius(max))),
                "other-unit",
            );
            check(&each(window, |min, max| (max, min)), "crossed");
            check(&shifted(window, true), "day-off");
            check(&shifted(window, false), "day-off");
            check(&each(window, |_, _| (55.0, 85.0)), "all-equal");
        }
    }
}

#[test]
fn another_stations_days_are_refused_on_nearly_every_stretch() {
    let all = records();
    let (mut refused, mut stretches) = (0, 0);
    for (name, days) in &all {
        let whole = own(days, NaiveDate::MAX);
        let known = whole.as_ref().map(OwnRecord::record).unwrap();
        let is_known = |day: &ReceivedDay| {
            let at = known.position(day.date);
            at.is_some_and(|at| known.cells(Element::Max)[at].usable().is_some())
        };
        for (_, theirs) in all.iter().filter(|(other, _)| other != name) {
            let known = |window: &&[ReceivedDay]| window.iter().filter(|day| is_known(day)).count();
            for window in windows(theirs, 30).filter(|window| known(window) >= 50) {
                stretches += 1;
                refused += usize::from(judged(window, whole.as_ref()).is_err());
            }
        }
    }
    // Parlier and Fresno State are twins: two of three stretches between them, of all others 98 of 100.
    let share = f64::from(refused as u32) / f64::from(stretches);
    assert!(share > 0.97, "{refused} of {stretches}");
}

#[test]
fn new_days_in_the_other_unit_are_refused_with_a_climate_and_without() {
    for (name, days) in records() {
        let year = days[days.len() / 2].date.year();
        let of = |year| {
            days.iter()
                .filter(move |day| day.date.year() == year)
                .cloned()
        };
        let first: Vec<ReceivedDay> = of(year).collect();
        let newest = days.last().unwrap().date.year();
        let before: Vec<ReceivedDay> = days
            .iter()
            .filter(|day| day.date.year() < newest)
            .cloned()
            .collect();
        let whole = own(&before, NaiveDate::MAX);
        let last: Vec<ReceivedDay> = of(newest).collect();
        for (days, own) in [(first, None), (last, whole.as_ref())] {
            for nonsense in [
                labelled(&days, Unit::Celsius),
                each(&days, |min, max| (celsius(min), celsius(max))),
            ] {
                let oddity = judged(&nonsense, own).map_err(|oddity| oddity.name());
                assert_eq!(oddity, Err("other-unit"), "{name} {}", own.is_some());
            }
        }
    }
}

/// Merced, and its last sixty days.
fn merced() -> (Vec<ReceivedDay>, Vec<ReceivedDay>) {
    let [(_, days)] = records!("GHCN-MERCED");
    let last = days[days.len() - STRETCH_DAYS..].to_vec();
    (days, last)
}

#[test]
fn a_station_without_a_climate_is_judged_by_that_of_a_fall_back() {
    let (days, last) = merced();
    let fall_back = own(&days, NaiveDate::MAX).unwrap();
    // Too few to be judged by what orchards have at all.
    let few = &labelled(&last, Unit::Celsius)[..20];
    let judge = |fall_backs: &[&OwnRecord]| {
        judge_answer(
            few,
            None,
            fall_backs,
            &StationFacts::default(),
            NaiveDate::MAX,
        )
    };
    assert_eq!(judge(&[]), Ok(()));
    let oddity = judge(&[&fall_back]).unwrap_err();
    assert_eq!(oddity.name(), "other-unit");
    assert!(matches!(oddity, Oddity::Unlike { days: 20, median_f: Some(by), .. } if by > 60.0));
}

#[test]
fn a_few_days_that_change_by_far_are_refused_and_single_ones_are_not() {
    let (days, last) = merced();
    let own = own(&days, NaiveDate::MAX);
    let with_wrong = |count: usize| {
        let mut answer = last.clone();
        answer.splice(..count, labelled(&last[..count], Unit::Celsius));
        answer
    };
    assert_eq!(judged(&with_wrong(MOST_LARGE), own.as_ref()), Ok(()));
    let oddity = judged(&with_wrong(MOST_LARGE + 1), own.as_ref()).unwrap_err();
    assert!(
        matches!(
            oddity,
            Oddity::Changed {
                days: 4,
                of: 60,
                ..
            }
        ),
        "{oddity:?}"
    );
}

#[test]
fn what_an_answer_repeats_and_what_was_not_trusted_before_is_not_judged() {
    let (days, last) = merced();
    let old = &days[..days.len() - STRETCH_DAYS];
    for nonsense in [
        labelled(&last, Unit::Celsius),
        each(&last, |min, max| (celsius(min), celsius(max))),
        each(&last, |min, max| (max, min)),
    ] {
        // Somebody took it; from then on it is what is known.
        let taken = own(&[old, &nonsense].concat(), NaiveDate::MAX);
        assert_eq!(judged(&nonsense, taken.as_ref()), Ok(()));
    }
    let swapped = own(
        &[old, &each(&last, |min, max| (max, min))].concat(),
        NaiveDate::MAX,
    );
    assert_eq!(
        judged(&last, swapped.as_ref()),
        Ok(()),
        "the right values come back"
    );
}

#[test]
fn an_answer_that_doubts_what_was_good_is_refused_and_one_that_fills_a_gap_is_taken() {
    let (days, last) = merced();
    let whole = own(&days, NaiveDate::MAX);
    let doubt = |one: &ReceivedDay| ReceivedDay {
        max_flag: Some("D".to_owned()),
        ..one.clone()
    };
    let doubted: Vec<ReceivedDay> = last.iter().map(doubt).collect();
    assert_eq!(
        judged(&doubted, whole.as_ref()).map_err(|o| o.name()),
        Err("doubted")
    );
    let mut some = last.clone();
    some[10..15].clone_from_slice(&doubted[10..15]);
    assert_eq!(judged(&some, whole.as_ref()), Ok(()));
    let gap = [&days[..days.len() - 300], &days[days.len() - 200..]].concat();
    assert_eq!(judged(&days, own(&gap, NaiveDate::MAX).as_ref()), Ok(()));
}

/// Where the records are of, roughly.
fn valley() -> StationFacts {
    StationFacts {
        location: Some(Location {
            latitude: 36.8,
            longitude: -120.0,
            height_m: Some(80.0),
        }),
        ..StationFacts::default()
    }
}

/// The same numbers under another label: what a day's values are taken for, °F to °F.
fn taken_for(declared: Written, written: Written) -> fn(f64) -> f64 {
    use Written::{Celsius, CelsiusTenths, Fahrenheit};
    match (declared, written) {
        (Fahrenheit, Celsius) => celsius,
        (Fahrenheit, CelsiusTenths) => |value_f| celsius(value_f) * 10.0,
        (Celsius, Fahrenheit) => |value_f| value_f * 1.8 + 32.0,
        (Celsius, CelsiusTenths) => |value_f| celsius(value_f) * 10.0 * 1.8 + 32.0,
        (CelsiusTenths, Fahrenheit) => |value_f| value_f / 10.0 * 1.8 + 32.0,
        (CelsiusTenths, Celsius) => |value_f| celsius(value_f) / 10.0 * 1.8 + 32.0,
        _ => |value_f| value_f,
    }
}

#[test]
fn every_pairing_of_declared_and_true_unit_is_named_at_a_stations_first_answer() {
    use Written::{Celsius, CelsiusTenths, Fahrenheit};
    let units = [Fahrenheit, Celsius, CelsiusTenths];
    let pairings = || {
        let pairs = units.iter().flat_map(|a| units.map(|b| (*a, b)));
        pairs.filter(|(declared, written)| declared != written)
    };
    // Where it stands is declared, and where it is not.
    for (facts, needed) in [(valley(), 0.999), (StationFacts::default(), 0.97)] {
        let judged = |days: &[ReceivedDay]| judge_answer(days, None, &[], &facts, NaiveDate::MAX);
        let (mut named, mut all) = (0, 0);
        for (name, days) in records() {
            for window in windows(&days, 30) {
                assert_eq!(judged(window), Ok(()), "{name} {}", window[0].date);
                for (declared, written) in pairings() {
                    let looks = match judged(&mistaken(window, declared, written)) {
                        Err(Oddity::Unlike { looks, .. }) => looks,
                        _ => None,
                    };
                    all += 1;
                    named += u32::from(looks == Some(Looks::OtherUnit(written)));
                }
            }
        }
        let share = f64::from(named) / f64::from(all);
        assert!(share >= needed, "{named} of {all}, {facts:?}");
    }
}

/// True days whose numbers, written in one unit, are said to be in another.
fn mistaken(days: &[ReceivedDay], declared: Written, written: Written) -> Vec<ReceivedDay> {
    let taken_for = taken_for(declared, written);
    let taken = each(days, |min, max| (taken_for(min), taken_for(max)));
    match declared {
        Written::Fahrenheit => taken,
        Written::Celsius | Written::CelsiusTenths => labelled(
            &each(&taken, |min, max| (celsius(min), celsius(max))),
            Unit::Celsius,
        ),
    }
}
