use chrono::NaiveDate;

use super::*;
use crate::id::{GroupId, StationId};
use crate::orchard::{Crop, TrapKind};
use crate::wording::DateOrder;

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

fn station() -> StationId {
    StationId::new("north").unwrap()
}

fn traps(ids: &[&str]) -> Vec<TrapId> {
    ids.iter().map(|id| TrapId::new(id).unwrap()).collect()
}

/// Checks that each cause has these words, with days as a farm in the United States prints them.
fn check<C: std::fmt::Debug>(words: impl Fn(Words, &C) -> String, table: &[(C, &str)]) {
    for (cause, expected) in table {
        assert_eq!(words(Words::default(), cause), *expected, "{cause:?}");
    }
}

fn two_checks() -> WhyStart {
    WhyStart::TwoChecks {
        first: day(4, 15),
        second: day(4, 18),
    }
}

fn by_hand(text: &str) -> WhyStart {
    WhyStart::ByHand {
        by: "adviser".into(),
        text: text.into(),
        traps: Box::new(WhyStart::NoTraps),
    }
}

#[test]
fn each_cause_of_a_start_has_its_words() {
    let lent = WhyStart::Lent {
        group: GroupId::new("B").unwrap(),
        why: Box::new(two_checks()),
    };
    let none_met = WhyStart::NoneMet {
        checks: 5,
        judged: 3,
    };
    let table = [
        (
            WhyStart::NotAsked(Crop::Pistachio),
            "no date in pistachio counts from an egg-laying start",
        ),
        (
            WhyStart::NoTraps,
            "no egg traps hang; set the start by hand or borrow one",
        ),
        (
            WhyStart::EggsOnBaseline {
                eggs: 4,
                traps: 2,
                of: 4,
            },
            "4 eggs on 2 of 4 traps at their first reading: hung after egg laying had begun",
        ),
        (
            WhyStart::Estimated {
                checks: Some([day(4, 15), day(4, 18)]),
                on: day(4, 18),
            },
            "eggs on two traps at the checks of Apr 15 and Apr 18 say that it began; the estimate from all \
             counts says when",
        ),
        (
            WhyStart::Estimated {
                checks: None,
                on: day(4, 22),
            },
            "by the estimate from all counts alone, since the check of Apr 22",
        ),
        (
            WhyStart::Doubted {
                checks: [day(4, 1), day(4, 4)],
                in_a_hundred: 62,
                days: Some([day(4, 9), day(4, 14), day(4, 20)]),
            },
            "the checks of Apr 1 and Apr 4 met the rule, but the estimate from all counts gives 62 in 100 that \
             laying has begun, and dates it Apr 9–20: look, and settle it by hand or let the next checks decide",
        ),
        (
            WhyStart::Doubted {
                checks: [day(4, 1), day(4, 4)],
                in_a_hundred: 31,
                days: None,
            },
            "the checks of Apr 1 and Apr 4 met the rule, but the estimate from all counts gives 31 in 100 that \
             laying has begun: look, and settle it by hand or let the next checks decide",
        ),
        (
            WhyStart::NotDated {
                checks: [day(4, 15), day(4, 18)],
                known_to: Some(day(4, 17)),
            },
            "the checks of Apr 15 and Apr 18 met the rule, and nothing to date the start by yet: temperatures \
             are known to Apr 16",
        ),
        (
            WhyStart::FirstBroodOver(day(6, 3)),
            "none seen before Jun 3, and from then on eggs are likelier the second generation's: laying began \
             unseen; set the start by hand or borrow one",
        ),
        (
            WhyStart::TooFewTraps,
            "too few traps: fewer than three egg traps hang; set the start by hand",
        ),
        (none_met, "no check of 5 met the rule; 3 could be judged"),
        (
            WhyStart::TakenBack(day(4, 15)),
            "Apr 15 met the rule once; the next check took it back",
        ),
        (
            WhyStart::OneCheck,
            "one check met the rule; the next one decides",
        ),
        (
            WhyStart::MissedCheck,
            "missed check: the next reading came more than 8 days later",
        ),
        (
            two_checks(),
            "two checks running met the rule, Apr 15 and Apr 18",
        ),
        (
            by_hand(""),
            "set by adviser: no reason given; the traps say: no egg traps hang; set the start by hand \
             or borrow one",
        ),
        (
            lent,
            "from the egg traps of B: two checks running met the rule, Apr 15 and Apr 18",
        ),
    ];
    check(Words::why_start, &table);
}

#[test]
fn what_somebody_typed_is_printed_as_they_typed_it() {
    let why = by_hand("eggs on bark  on 2022-04-13, see photo");
    let expected = "set by adviser: eggs on bark  on 2022-04-13, see photo; the traps say: ";
    assert!(Words::default().why_start(&why).starts_with(expected));
}

#[test]
fn days_of_a_cause_are_printed_in_the_farms_order_and_as_iso_days_for_programs() {
    let other = Words {
        order: DateOrder::DayMonth,
    };
    let days = [Words::default(), other, Words::ISO].map(|words| words.why_start(&two_checks()));
    let expected = [
        "Apr 15 and Apr 18",
        "15 Apr and 18 Apr",
        "2022-04-15 and 2022-04-18",
    ];
    assert_eq!(
        days,
        expected.map(|days| format!("two checks running met the rule, {days}"))
    );
}

#[test]
fn each_cause_of_a_flight_that_is_not_told_has_its_words() {
    let none = [
        (WhyNoFlights::NoTraps, "no moth traps hang"),
        (
            WhyNoFlights::NotRead(TrapKind::Pheromone),
            "pheromone traps not read yet",
        ),
    ];
    check(|words, why| words.why_no_flights(*why), &none);
    let so_far = [
        (SoFar::StillRising, "still rising"),
        (
            SoFar::NotLowerTwice,
            "not lower on two readings running yet",
        ),
        (
            SoFar::RanIntoNext,
            "the next flight rose before catches were lower",
        ),
        (SoFar::NotBackTwice, "not back at the low on two readings"),
    ];
    check(|_, so_far: &SoFar| so_far.words().to_owned(), &so_far);
}

#[test]
fn each_cause_of_a_flights_day_that_cannot_be_told_has_its_words() {
    let too_few = WhyNoDay::TooFewRead {
        from: day(3, 15),
        to: day(4, 12),
    };
    let table = [
        (
            WhyNoDay::CaughtFromFirst,
            "moths were caught from the first readings on",
        ),
        (
            WhyNoDay::FreshLure(traps(&["P1", "P2"])),
            "traps were past their service life before the rise, and the catch jumps from a fresh lure \
             (P1, P2)",
        ),
        (
            WhyNoDay::FreshLure(Vec::new()),
            "traps were past their service life before the rise, and the catch jumps from a fresh lure",
        ),
        (
            WhyNoDay::ArePastLife(traps(&["P1", "P2", "P3", "P4", "P5", "P6", "P7"])),
            "traps are past their service life (7 traps)",
        ),
        (too_few, "too few traps were read between Mar 15 and Apr 12"),
        (
            WhyNoDay::WerePastLife(day(4, 5), traps(&["P1"])),
            "traps were past their service life on Apr 5 (P1)",
        ),
        (
            WhyNoDay::LureJustChanged,
            "an overdue lure was changed just before the highest catch",
        ),
        (
            WhyNoDay::RoseAgain,
            "catches rose again before they were back at the low",
        ),
        (
            WhyNoDay::ArePastLife(traps(&["P1"])),
            "traps are past their service life (P1)",
        ),
        (
            WhyNoDay::BagsFade,
            "bait bags fade as new nuts split, so lower catches are no fall",
        ),
    ];
    check(Words::why_no_day, &table);
}

fn no_temperatures(day: Option<NaiveDate>) -> WhyNot {
    let station = station();
    WhyNot::NoTemperatures { station, day }
}

#[test]
fn each_cause_of_missing_heat_or_of_a_missing_date_has_its_words() {
    let from = day(4, 1);
    let table = [
        (
            WhyNot::NewestBefore {
                newest: day(3, 30),
                from,
            },
            "newest temperatures are of Mar 30, before counting begins on Apr 1",
        ),
        (WhyNot::NoStart, "no egg-laying start yet"),
        (
            no_temperatures(None),
            "no temperatures from station north yet",
        ),
        (
            no_temperatures(Some(day(5, 12))),
            "no temperatures from station north for May 12",
        ),
        (
            WhyNot::BeginAfter {
                first: day(4, 20),
                from,
            },
            "temperatures begin on Apr 20, after counting begins on Apr 1",
        ),
        (
            WhyNot::NotReached { years: 5, of: 10 },
            "not reached before the end of the year in 5 of 10 past years",
        ),
        (
            WhyNot::NoPastYear {
                station: station(),
                newest: day(6, 1),
            },
            "station north has no whole past year from Jun 1 on to project with",
        ),
        (
            WhyNot::WithoutMarks("no date is published, as of 2022-01-01".into()),
            "no date is published, as of 2022-01-01",
        ),
    ];
    check(Words::why_not, &table);
}

#[test]
fn each_cause_of_a_missing_chance_or_comparison_has_its_words() {
    let chances = [
        (
            WhyNoChance::NoDate(WhyNot::NoStart),
            "no egg-laying start yet",
        ),
        (
            WhyNoChance::StartNotConfirmed,
            "the egg-laying start is not confirmed",
        ),
        (WhyNoChance::HullSplitNotKnown, "hull split is not known"),
        (
            WhyNoChance::ShakeNotEntered,
            "the shake is past its latest day and not entered as done",
        ),
        (WhyNoChance::FewPastYears(2), "only 2 past years"),
    ];
    check(Words::why_no_chance, &chances);
    let comparisons = [
        (
            WhyNotByHeat::NoHeat(no_temperatures(Some(day(2, 3)))),
            "no temperatures from station north for Feb 3",
        ),
        (
            WhyNotByHeat::NoneThisYear,
            "no temperatures of this year yet",
        ),
        (
            WhyNotByHeat::NoHeatThisYear,
            "no degree-days since the first of January yet",
        ),
    ];
    check(Words::why_not_by_heat, &comparisons);
}

#[test]
fn each_cause_of_a_withdrawal_has_its_words() {
    let table = [
        (
            WhyGone::Start(WhyStart::TakenBack(day(4, 15))),
            "Apr 15 met the rule once; the next check took it back",
        ),
        (
            WhyGone::NoSecondCandidate,
            "the checks after the start show it no more",
        ),
        (
            WhyGone::OfBlock,
            "generations are told of the whole block now, from its first hull split",
        ),
        (WhyGone::Flight(SoFar::StillRising), "still rising"),
        (
            WhyGone::ShownNoMore,
            "what has been entered or declared since shows it no more",
        ),
    ];
    check(Words::why_gone, &table);
}
