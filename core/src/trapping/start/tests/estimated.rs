//! Starts with heat to date them by: what is believed, what is asked, and what stands still.

use super::*;
use crate::heat::HeatSeries;
use crate::id::StationId;
use crate::temperature::Unit;
use crate::weather::{ReceivedDay, StationWeather};

/// Heat of the year up to a day: 2 °F-days a day to the end of March, 8 in April and May, 18 in June, so that
/// 178 have added up by 31 March, 418 by the end of April and 1,000 on 20 June.
fn heat(to: NaiveDate) -> HeatSeries {
    let day = |date: NaiveDate| {
        let heat = match date.month() {
            1..=3 => 2.0,
            4 | 5 => 8.0,
            _ => 18.0,
        };
        ReceivedDay {
            date,
            // The width changes from day to day, since values that never change are a stuck sensor's.
            min: Some(55.0 + heat - f64::from(date.ordinal() % 3) / 2.0 - 0.5),
            max: Some(55.0 + heat + f64::from(date.ordinal() % 3) / 2.0 + 0.5),
            unit: Unit::Fahrenheit,
            min_flag: None,
            max_flag: None,
        }
    };
    let new_year = NaiveDate::from_ymd_opt(2022, 1, 1).unwrap();
    let days = new_year.iter_days().take_while(|date| *date <= to);
    let received: Vec<ReceivedDay> = days.map(day).collect();
    let after = to.succ_opt().unwrap();
    let weather = StationWeather::alone(StationId::new("S").unwrap(), &received, after);
    HeatSeries::new(weather.series().unwrap(), sample::insect().heat)
}

impl Case {
    /// As of a day by the shipped model, with heat known to another.
    fn with_heat(&self, as_of: i64, known_to: i64) -> EggLayingStart {
        self.with_kept(as_of, known_to, None).start
    }

    /// The same, with what was kept.
    fn with_kept(&self, as_of: i64, known_to: i64, kept: Option<&KeptStart>) -> GroupStart {
        let mut model = sample::insect().start.unwrap();
        model.rule = self.rule;
        model.first_brood_until = crate::temperature::DegreeDays::from_fahrenheit_days(1000.0);
        let (visits, notes) = (Visits::new(self.visits.clone()), Notes::default());
        let orchard = Orchard::new(self.blocks.clone(), self.traps.clone(), Vec::new());
        let view = StartView {
            model: &model,
            visits: &visits,
            notes: &notes,
            as_of: day(as_of),
        };
        let block = &self.blocks[0];
        let heat = heat(day(known_to));
        start_of_group(
            &orchard,
            block,
            &block.start_group,
            (Some(&heat), kept),
            view,
        )
    }

    fn on(&self, as_of: i64) -> EggLayingStart {
        self.with_heat(as_of, as_of - 1)
    }
}

/// Six traps without eggs, read twice a week from 4 April on to the 15th.
fn six() -> Case {
    let case = block_with(6).by(StartRule::Estimate);
    [4, 8, 11, 15]
        .into_iter()
        .fold(case, |case, on| case.counts(on, &[0; 6]))
}

/// Then a hump: 0.7 eggs a trap, 2, 3, 4, 3, 2.
fn hump() -> Case {
    let counts = [
        (18, [1, 0, 2, 0, 1, 0]),
        (22, [3, 0, 5, 1, 0, 3]),
        (25, [0, 6, 2, 4, 3, 1]),
        (29, [9, 1, 2, 4, 6, 2]),
        (32, [2, 5, 0, 3, 4, 1]),
        (36, [0, 4, 1, 1, 3, 2]),
    ];
    let read = |case: Case, (on, eggs): &(i64, [u32; 6])| case.counts(*on, eggs);
    counts.iter().fold(six(), read)
}

/// The day and the range, counted from 31 March.
fn dated(start: &EggLayingStart) -> Option<[i64; 3]> {
    let [early, late] = start.may_have_begun()?;
    let number = |date: NaiveDate| (date - day(0)).num_days();
    Some([early, start.date?, late].map(number))
}

#[test]
fn two_checks_say_that_it_began_and_the_estimate_says_when() {
    let case = hump();
    assert_eq!(told(&case.on(15)), (StartStatus::None, None));
    assert_eq!(case.on(19).status, StartStatus::Provisional);
    let start = case.on(37);
    assert_eq!(start.status, StartStatus::Confirmed);
    let [early, middle, late] = dated(&start).unwrap();
    // The eggs of the 18th were laid since the 15th; the range holds that, and the marks rest on it.
    assert!(
        early <= 16 && (14..=19).contains(&middle) && late >= 18,
        "{early} {middle} {late}"
    );
    let checks = Some([day(18), day(22)]);
    let on = start.evidence.confirmed_on.unwrap();
    assert_eq!(start.evidence.why, WhyStart::Estimated { checks, on });
    let estimate = start.evidence.estimate.unwrap();
    assert!(estimate.chance > 0.95 && estimate.weigh_most.len() == 3);
    // The other rules stand beside.
    let eggs_twice = &start.evidence.results[&StartRule::EggsTwice];
    let (date, second) = (day(18), day(22));
    assert_eq!(eggs_twice, &RuleResult::Confirmed { date, second });
}

#[test]
fn strays_that_meet_a_rule_are_doubted_and_the_next_checks_decide() {
    // Two traps with an egg each on two checks in the first days, then none for three weeks.
    let mut case = block_with(6).by(StartRule::Estimate).counts(4, &[0; 6]);
    for (on, eggs) in [(8, [1, 0, 0, 1, 0, 0]), (11, [0, 1, 0, 0, 1, 0])] {
        case = case.counts(on, &eggs);
    }
    let at_once = case.on(12);
    assert_eq!(told(&at_once), (StartStatus::Provisional, Some(day(8))));
    let why = &at_once.evidence.why;
    assert!(matches!(why, WhyStart::Doubted { checks, .. } if *checks == [day(8), day(11)]));
    for on in [15, 18, 22, 25, 29, 32] {
        case = case.counts(on, &[0; 6]);
    }
    assert_eq!(case.on(33).status, StartStatus::Provisional);
}

#[test]
fn another_rule_is_asked_about_in_the_same_way() {
    let mut case = block_with(6).by(StartRule::EggsTwice);
    for on in [4, 8, 11] {
        case = case.counts(on, &[0; 6]);
    }
    for (on, eggs) in [(15, [1, 0, 0, 1, 0, 0]), (18, [0, 1, 0, 0, 1, 0])] {
        case = case.counts(on, &eggs);
    }
    let start = case.on(19);
    assert_eq!(told(&start), (StartStatus::Provisional, Some(day(15))));
    let why = &start.evidence.why;
    assert!(matches!(why, WhyStart::Doubted { checks, .. } if *checks == [day(15), day(18)]));
}

#[test]
fn a_start_by_hand_or_borrowed_has_its_own_days_whatever_the_estimate() {
    let case = hump();
    let by_traps = case.on(37);
    let by_hand = by_traps.clone().with_note(
        &Notes::new(vec![note(
            day(30),
            None,
            NoteKind::EggLayingStart(day(20).into()),
        )]),
        "B",
        day(37),
    );
    assert_eq!(dated(&by_hand), Some([17, 20, 23]));
    assert!(!by_hand.is_estimated() && !by_hand.may_still_move(day(37)));
    // Five days to each side at least, or as far as the estimate's own range.
    let [early, middle, late] = dated(&by_traps).unwrap();
    let lent = by_traps.lent();
    let range = [early.min(middle - 5), middle, late.max(middle + 5)];
    assert_eq!(dated(&lent), Some(range));
    assert!(lent.is_estimated());
}

#[test]
fn once_the_first_brood_is_over_eggs_confirm_nothing() {
    // Nothing to 15 April and no visit since; then eggs everywhere from 24 June on, when 1,000 °F-days are past.
    for rule in StartRule::ALL {
        let case = six().by(rule);
        let case = case
            .counts(85, &[5, 4, 3, 6, 2, 4])
            .counts(88, &[5, 4, 3, 6, 2, 4]);
        let case = case
            .counts(92, &[9, 9, 9, 9, 9, 9])
            .counts(95, &[9, 9, 9, 9, 9, 9]);
        let start = case.on(96);
        assert_eq!(told(&start), (StartStatus::CannotTell, None), "{rule:?}");
        assert!(matches!(start.evidence.why, WhyStart::FirstBroodOver(over) if over > day(80)));
    }
}

#[test]
fn a_stray_egg_on_a_first_reading_silences_nothing_and_eggs_on_a_quarter_do() {
    let check = |traps: usize, with_eggs: usize, late: bool| {
        let baselines: Vec<u32> = (0..traps).map(|trap| u32::from(trap < with_eggs)).collect();
        let case = block_with(traps).counts(4, &baselines);
        let case = case.counts(8, &vec![0; traps]);
        let why = case.on(9).evidence.why;
        assert_eq!(
            matches!(why, WhyStart::EggsOnBaseline { .. }),
            late,
            "{traps} {with_eggs}"
        );
    };
    check(4, 1, false);
    check(4, 2, true);
    check(8, 2, true);
    check(9, 2, false);
    check(9, 3, true);
    check(3, 1, false);
}

#[test]
fn a_start_waits_for_temperatures_to_be_dated_by() {
    let case = hump();
    let start = case.with_heat(26, 16);
    assert_eq!(told(&start), (StartStatus::Provisional, Some(day(18))));
    let waits = WhyStart::NotDated {
        checks: [day(18), day(22)],
        known_to: Some(day(17)),
    };
    assert_eq!(start.evidence.why, waits);
    // A rule that brings its own date does not wait.
    let published = case.by(StartRule::EggsTwice).with_heat(26, 16);
    assert_eq!(told(&published), (StartStatus::Confirmed, Some(day(18))));
}

#[test]
fn counts_move_it_for_three_weeks_and_a_change_of_earlier_ones_ever_after() {
    let mut case = hump();
    let on = case.on(37).evidence.confirmed_on.unwrap();
    let frozen = (on - day(0)).num_days() + 21;
    let before = dated(&case.on(frozen + 1));
    for on in [frozen + 2, frozen + 5] {
        case = case.counts(on, &[40; 6]);
    }
    assert_eq!(dated(&case.on(frozen + 6)), before);
    // A sheet that comes in late shows eggs on the check of the 15th; taken back, all is as it was.
    let late = |visit: &&mut Visit| visit.date == day(15);
    let mut with_sheet = hump();
    for visit in with_sheet.visits.iter_mut().filter(late) {
        visit.eggs = Some(4);
    }
    let moved = dated(&with_sheet.on(frozen + 1)).unwrap();
    assert!(moved[1] < before.unwrap()[1], "{moved:?} {before:?}");
    for visit in with_sheet.visits.iter_mut().filter(late) {
        visit.eggs = Some(0);
    }
    assert_eq!(dated(&with_sheet.on(frozen + 1)), before);
}

#[test]
fn the_order_in_which_counts_were_entered_does_not_matter() {
    let case = hump();
    let mut back = hump();
    back.visits.reverse();
    for as_of in [19, 26, 33, 37, 60] {
        assert_eq!(case.on(as_of), back.on(as_of));
    }
}

#[test]
fn what_a_check_confirmed_stays_confirmed_whatever_the_heat_after_it() {
    let case = hump();
    let on = case.on(37).evidence.confirmed_on;
    for known_to in 37..60 {
        assert_eq!(case.with_heat(60, known_to).evidence.confirmed_on, on);
    }
}

#[test]
fn what_was_kept_is_what_would_be_worked_out_again_unless_what_it_rests_on_changed() {
    let case = hump();
    assert_eq!(case.with_kept(37, 36, None).to_keep, None);
    let found = case.with_kept(70, 69, None);
    let kept = found.to_keep.unwrap();
    let again = case.with_kept(80, 79, Some(&kept));
    assert_eq!((again.start, again.to_keep), (case.on(80), None));
    // A kept one that says otherwise shows that it is read, and not worked out.
    let mut other = kept.clone();
    other.estimate.days = Some([day(10), day(11), day(12)]);
    let read = case.with_kept(80, 79, Some(&other)).start;
    assert_eq!(dated(&read), Some([10, 11, 12]));
    // A count that changes, one that comes in, and heat that is revised each make it of no use.
    let mut counted = hump();
    counted.visits[7].eggs = Some(1);
    let late = hump().read(34, &[Some(2)]);
    for changed in [counted, late] {
        let read = changed.with_kept(80, 79, Some(&other));
        assert_eq!(read.start, changed.on(80));
        assert!(read.to_keep.is_some());
    }
    let by_another_rule = hump().by(StartRule::EggsTwice);
    let read = by_another_rule.with_kept(80, 79, Some(&other)).start;
    assert_eq!(read, by_another_rule.on(80));
}
