//! Cases of the egg-laying start, each worked by hand.

mod estimated;

use super::*;
use crate::id::BlockId;
use crate::orchard::TrapKind;
use crate::sample::{self, block, note, trap, visit};
use crate::trapping::Visit;

/// A day counted from 31 March: 1 is 1 April, 31 is 1 May.
fn day(n: i64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 3, 31).unwrap() + chrono::TimeDelta::days(n)
}

struct Case {
    blocks: Vec<Block>,
    traps: Vec<Trap>,
    visits: Vec<Visit>,
    notes: Vec<Note>,
    rule: StartRule,
}

/// A block with `traps` egg traps hung on 1 April.
fn block_with(traps: usize) -> Case {
    let block = block();
    let trap = |n: usize| trap(&format!("E{n}"), TrapKind::Egg, day(1));
    Case {
        traps: (1..=traps).map(trap).collect(),
        blocks: vec![block],
        visits: Vec::new(),
        notes: Vec::new(),
        rule: StartRule::ShareRising,
    }
}

impl Case {
    /// Reads trap E1, E2, … on a day; `None` is a trap that could not be read.
    fn read(mut self, on: i64, eggs: &[Option<u32>]) -> Self {
        let visit = |(&eggs, n): (&Option<u32>, usize)| Visit {
            eggs,
            readable: eggs.is_some(),
            ..visit(&format!("E{n}"), day(on))
        };
        self.visits.extend(eggs.iter().zip(1..).map(visit));
        self
    }

    fn counts(self, on: i64, eggs: &[u32]) -> Self {
        let eggs: Vec<_> = eggs.iter().copied().map(Some).collect();
        self.read(on, &eggs)
    }

    fn by(mut self, rule: StartRule) -> Self {
        self.rule = rule;
        self
    }

    fn as_of(&self, n: i64) -> EggLayingStart {
        let visits = Visits::new(self.visits.clone());
        let orchard = Orchard::new(self.blocks.clone(), self.traps.clone(), Vec::new());
        let block = self.blocks.last().unwrap();
        let notes = Notes::new(self.notes.clone());
        let mut model = sample::insect().start.unwrap();
        model.rule = self.rule;
        let view = StartView {
            model: &model,
            visits: &visits,
            notes: &notes,
            as_of: day(n),
        };
        let group = &block.start_group;
        let owner = orchard.block_of_group(group).unwrap_or(block);
        let start = start_of_group(&orchard, owner, group, (None, None), view);
        start.start.in_block(block, &notes, day(n))
    }
}

fn told(start: &EggLayingStart) -> (StartStatus, Option<NaiveDate>) {
    (start.status, start.date)
}

/// Four traps: baseline on the 4th, clean checks on the 8th and 11th.
fn quiet() -> Case {
    block_with(4)
        .counts(4, &[0, 0, 0, 0])
        .counts(8, &[0, 0, 0, 0])
        .counts(11, &[0, 0, 0, 0])
}

#[test]
fn two_checks_running_with_three_of_four_traps_rising_confirm_the_first() {
    let case = quiet().counts(15, &[2, 1, 0, 5]).counts(18, &[1, 3, 2, 0]);
    let start = case.as_of(18);
    assert_eq!(told(&start), (StartStatus::Confirmed, Some(day(15))));
    assert_eq!(start.evidence.check_before, Some(day(11)));
    let first = start.evidence.checks[0];
    assert_eq!((first.read, first.hung, first.rising), (4, 4, 3));
}

#[test]
fn after_one_check_it_is_provisional_and_a_failing_second_takes_it_back() {
    let case = quiet().counts(15, &[2, 1, 0, 5]);
    assert_eq!(
        told(&case.as_of(15)),
        (StartStatus::Provisional, Some(day(15)))
    );
    let case = case.counts(18, &[0, 3, 2, 0]);
    let start = case.as_of(18);
    assert_eq!(told(&start), (StartStatus::None, None));
    assert_eq!(start.evidence.why, WhyStart::TakenBack(day(15)));
}

#[test]
fn a_check_more_than_eight_days_later_leaves_it_provisional_with_missed_check() {
    let case = quiet().counts(15, &[2, 1, 0, 5]).counts(24, &[2, 3, 2, 1]);
    let start = case.as_of(24);
    assert_eq!(told(&start), (StartStatus::Provisional, Some(day(15))));
    assert_eq!(start.evidence.why, WhyStart::MissedCheck);
    let eight_days = quiet().counts(15, &[2, 1, 0, 5]).counts(23, &[2, 3, 2, 1]);
    assert_eq!(
        told(&eight_days.as_of(23)),
        (StartStatus::Confirmed, Some(day(15)))
    );
}

#[test]
fn half_of_the_traps_is_not_three_quarters() {
    let case = quiet().counts(15, &[2, 1, 0, 0]).counts(18, &[1, 3, 0, 0]);
    assert_eq!(told(&case.as_of(18)), (StartStatus::None, None));
    // The other rule is worked out beside it: eggs in two traps twice, after two clean checks.
    let start = case.by(StartRule::EggsTwice).as_of(18);
    assert_eq!(told(&start), (StartStatus::Confirmed, Some(day(15))));
    let other = &start.evidence.results[&StartRule::ShareRising];
    assert_eq!(
        other,
        &RuleResult::NotYet {
            withdrawn: Vec::new()
        }
    );
}

#[test]
fn eggs_twice_needs_two_clean_checks_first() {
    let case = block_with(4)
        .counts(4, &[0, 0, 0, 0])
        .counts(8, &[0, 0, 0, 0])
        .counts(11, &[1, 1, 0, 0])
        .counts(15, &[1, 1, 0, 0])
        .by(StartRule::EggsTwice);
    assert_eq!(told(&case.as_of(15)), (StartStatus::None, None));
}

#[test]
fn a_rise_is_one_egg_more_than_the_rate_before_the_run_over_its_own_nights() {
    // Before the run each trap had 4 eggs in 4 nights: a rate of one a night. Over 7 nights the
    // rate gives 7, so 8 is a rise and 7 is not.
    let before = block_with(4).counts(4, &[0; 4]).counts(8, &[4; 4]);
    let rising = before.counts(15, &[8, 8, 8, 7]).counts(18, &[4, 4, 4, 3]);
    assert_eq!(
        told(&rising.as_of(18)),
        (StartStatus::Confirmed, Some(day(8)))
    );
    let start = rising.as_of(18);
    assert_eq!(start.evidence.checks.len(), 2);
    let flat = block_with(4)
        .counts(4, &[0; 4])
        .counts(8, &[0; 4])
        .counts(11, &[3; 4]);
    // 3 eggs in 3 nights, then 7 in 7: no rise against the reading before that run.
    let second = flat.counts(18, &[7; 4]);
    let run = second.as_of(18);
    assert_eq!(told(&run), (StartStatus::Confirmed, Some(day(11))));
}

#[test]
fn unreadable_traps_leave_the_share_but_three_of_four_must_be_read() {
    let three = [Some(2), Some(1), None, Some(5)];
    let case = quiet().read(15, &three).read(18, &three);
    assert_eq!(
        told(&case.as_of(18)),
        (StartStatus::Confirmed, Some(day(15)))
    );
    let two = [Some(2), Some(1), None, None];
    let case = quiet().read(15, &two).read(18, &two);
    assert_eq!(told(&case.as_of(18)), (StartStatus::None, None));
}

#[test]
fn five_traps_need_four_of_them_read() {
    let quiet = || {
        block_with(5)
            .counts(4, &[0; 5])
            .counts(8, &[0; 5])
            .counts(11, &[0; 5])
    };
    let three = [Some(2), Some(1), Some(5), None, None];
    let case = quiet().read(15, &three).read(18, &three);
    assert_eq!(told(&case.as_of(18)), (StartStatus::None, None));
    let four = [Some(2), Some(1), Some(5), Some(1), None];
    let case = quiet().read(15, &four).read(18, &four);
    assert_eq!(
        told(&case.as_of(18)),
        (StartStatus::Confirmed, Some(day(15)))
    );
}

#[test]
fn a_check_may_span_two_neighbouring_days() {
    let some = |eggs: u32| Some(eggs);
    let mut case = quiet();
    for (first, second) in [(15, 16), (18, 19)] {
        let before = case.visits.len();
        case = case.read(first, &[some(2), some(2), some(2), some(2)]);
        for visit in &mut case.visits[before + 2..] {
            visit.date = day(second);
        }
    }
    assert_eq!(
        told(&case.as_of(19)),
        (StartStatus::Confirmed, Some(day(15)))
    );
}

#[test]
fn a_trap_read_once_more_the_day_before_does_not_tear_the_check_apart() {
    let mut case = quiet().counts(15, &[2, 1, 0, 5]).counts(18, &[1, 3, 2, 0]);
    let spot = Visit {
        date: day(14),
        eggs: Some(0),
        ..case.visits.last().cloned().unwrap()
    };
    case.visits.push(spot);
    assert_eq!(
        told(&case.as_of(18)),
        (StartStatus::Confirmed, Some(day(15)))
    );
}

#[test]
fn a_check_that_does_not_count_does_not_narrow_the_interval_before_the_start() {
    let case = quiet()
        .read(13, &[Some(0), None, None, None])
        .counts(15, &[2, 1, 0, 5])
        .counts(18, &[1, 3, 2, 0]);
    assert_eq!(case.as_of(18).evidence.check_before, Some(day(11)));
}

#[test]
fn eggs_on_the_baselines_of_traps_first_read_a_round_later_mean_cannot_tell() {
    let case = block_with(4)
        .read(4, &[Some(0), None, None, None])
        .counts(8, &[0, 9, 9, 9])
        .counts(11, &[9; 4])
        .counts(15, &[40; 4]);
    assert_eq!(told(&case.as_of(15)), (StartStatus::CannotTell, None));
}

#[test]
fn a_borrowed_start_follows_its_lenders_rule() {
    // Two of four traps: a start by eggs twice alone, which the lender declares.
    let mut case = quiet().counts(15, &[2, 1, 0, 0]).counts(18, &[1, 3, 0, 0]);
    case.blocks[0].start_rule = Some(StartRule::EggsTwice);
    let borrower = Block {
        id: BlockId::new("C").unwrap(),
        start_rule: None,
        ..case.blocks[0].clone()
    };
    case.blocks.push(borrower);
    assert_eq!(
        told(&case.as_of(18)),
        (StartStatus::Borrowed, Some(day(15)))
    );
}

#[test]
fn a_start_set_by_hand_to_another_year_is_not_this_years() {
    let mut case = block_with(2);
    let of_last_year = NoteKind::EggLayingStart(day(7 - 365).into());
    case.notes.push(note(day(10), None, of_last_year));
    assert_eq!(told(&case.as_of(11)), (StartStatus::CannotTell, None));
}

#[test]
fn the_first_reading_after_hanging_is_a_baseline_only() {
    let case = block_with(4).counts(4, &[0; 4]);
    let start = case.as_of(4);
    assert_eq!(told(&start), (StartStatus::None, None));
    assert_eq!(start.evidence.newest_check.unwrap().read, 0);
}

#[test]
fn eggs_on_the_first_reading_mean_cannot_tell() {
    let case = block_with(4)
        .counts(4, &[0, 3, 0, 1])
        .counts(8, &[9; 4])
        .counts(11, &[20; 4]);
    let start = case.as_of(11);
    assert_eq!(told(&start), (StartStatus::CannotTell, None));
    let why = WhyStart::EggsOnBaseline {
        eggs: 4,
        traps: 2,
        of: 4,
    };
    assert_eq!(start.evidence.why, why);
}

#[test]
fn too_few_traps_cannot_tell_until_set_by_hand() {
    let mut case = block_with(2)
        .counts(4, &[0; 2])
        .counts(8, &[5; 2])
        .counts(11, &[9; 2]);
    let start = case.as_of(11);
    assert_eq!(told(&start), (StartStatus::CannotTell, None));
    assert_eq!(start.evidence.why, WhyStart::TooFewTraps);
    case.notes.push(Note {
        text: "eggs on the bark of the border row".into(),
        ..note(day(10), None, NoteKind::EggLayingStart(day(7).into()))
    });
    assert_eq!(told(&case.as_of(9)), (StartStatus::CannotTell, None));
    let start = case.as_of(11);
    assert_eq!(told(&start), (StartStatus::ByHand, Some(day(7))));
    let by_hand = WhyStart::ByHand {
        by: "adviser".into(),
        text: "eggs on the bark of the border row".into(),
        traps: Box::new(WhyStart::TooFewTraps),
    };
    assert_eq!(start.evidence.why, by_hand);
}

#[test]
fn traps_taken_down_after_the_season_were_not_too_few() {
    let mut case = quiet();
    for trap in &mut case.traps {
        trap.removed = Some(day(20));
    }
    assert_eq!(told(&case.as_of(30)), (StartStatus::None, None));
    case.traps[0].removed = None;
    assert_eq!(told(&case.as_of(30)), (StartStatus::CannotTell, None));
}

#[test]
fn a_borrowed_start_is_as_good_as_its_lender() {
    let mut case = quiet().counts(15, &[2, 1, 0, 5]);
    let borrower = Block {
        id: BlockId::new("C").unwrap(),
        ..case.blocks[0].clone()
    };
    case.blocks.push(borrower);
    assert_eq!(
        told(&case.as_of(15)),
        (StartStatus::Provisional, Some(day(15)))
    );
    let case = case.counts(18, &[1, 3, 2, 0]);
    let start = case.as_of(18);
    assert_eq!(told(&start), (StartStatus::Borrowed, Some(day(15))));
    let two_checks = WhyStart::TwoChecks {
        first: day(15),
        second: day(18),
    };
    let lent = WhyStart::Lent {
        group: GroupId::new("B").unwrap(),
        why: Box::new(two_checks),
    };
    assert_eq!(start.evidence.why, lent);
}

#[test]
fn without_egg_traps_nothing_can_be_told() {
    assert_eq!(
        told(&block_with(0).as_of(20)),
        (StartStatus::CannotTell, None)
    );
}

#[test]
fn under_mating_disruption_the_start_may_be_late() {
    let mut case = quiet().counts(15, &[2, 1, 0, 5]).counts(18, &[1, 3, 2, 0]);
    case.blocks[0].regime = Regime::MatingDisruption;
    assert!(case.as_of(18).evidence.may_be_late);
}

#[test]
fn a_late_entry_moves_the_start_to_the_earlier_check() {
    let told_late = quiet().counts(18, &[2, 1, 0, 5]).counts(22, &[1, 3, 2, 0]);
    assert_eq!(told_late.as_of(22).date, Some(day(18)));
    let entered = told_late.counts(15, &[1, 1, 1, 0]);
    assert_eq!(entered.as_of(22).date, Some(day(15)));
}

/// The start of 15 April, then checks of so few eggs, then a run.
fn stray_then(quiet: &[(i64, [u32; 4])], run: &[(i64, [u32; 4])]) -> Case {
    let case = quiet_then_start();
    let later = quiet.iter().chain(run);
    later.fold(case, |case, (on, eggs)| case.counts(*on, eggs))
}

fn quiet_then_start() -> Case {
    quiet().counts(15, &[2, 1, 0, 5]).counts(18, &[1, 3, 2, 0])
}

#[test]
fn a_run_after_two_weeks_near_zero_is_a_second_candidate_and_the_start_stays() {
    let quiet = [
        (22, [0, 0, 1, 0]),
        (26, [0; 4]),
        (30, [0; 4]),
        (33, [0, 1, 0, 0]),
    ];
    let run = [(37, [4, 3, 0, 6]), (40, [5, 4, 2, 6])];
    // From the 22nd to the 37th are 15 days on which at most one trap had eggs.
    let case = stray_then(&quiet, &run);
    let start = case.as_of(40);
    assert_eq!(told(&start), (StartStatus::Confirmed, Some(day(15))));
    assert_eq!(
        start.evidence.second_candidate,
        Some(SecondCandidate {
            date: day(37),
            second: day(40),
            quiet_from: day(22),
        })
    );
    // One check of the run alone is none, nor is a run after eleven days.
    assert_eq!(case.as_of(37).evidence.second_candidate, None);
    let soon = stray_then(&quiet[1..], &run).as_of(40);
    assert_eq!(soon.evidence.second_candidate, None);
}

#[test]
fn a_start_set_by_hand_leaves_no_second_candidate() {
    let quiet = [(22, [0; 4]), (26, [0; 4]), (30, [0; 4]), (33, [0; 4])];
    let mut case = stray_then(&quiet, &[(37, [4, 3, 0, 6]), (40, [5, 4, 2, 6])]);
    assert!(case.as_of(40).evidence.second_candidate.is_some());
    case.notes.push(note(
        day(40),
        None,
        NoteKind::EggLayingStart(day(37).into()),
    ));
    let start = case.as_of(40);
    assert_eq!(told(&start), (StartStatus::ByHand, Some(day(37))));
    assert_eq!(start.evidence.second_candidate, None);
}

#[test]
fn eggs_left_on_the_traps_are_no_rise_at_the_next_check() {
    // The same eggs counted twice: 2, 1, 3 on the 15th stay on; on the 18th nothing was laid.
    let mut case = quiet().counts(15, &[2, 1, 3, 0]).counts(18, &[2, 1, 3, 0]);
    assert_eq!(
        told(&case.as_of(18)),
        (StartStatus::Confirmed, Some(day(15)))
    );
    for visit in case.visits.iter_mut().filter(|visit| visit.date == day(15)) {
        visit.eggs_left = true;
    }
    assert_eq!(told(&case.as_of(18)), (StartStatus::None, None));
    // With as many new ones on top it is confirmed.
    let mut case = quiet().counts(15, &[2, 1, 3, 0]).counts(18, &[4, 2, 6, 0]);
    for visit in case.visits.iter_mut().filter(|visit| visit.date == day(15)) {
        visit.eggs_left = true;
    }
    assert_eq!(
        told(&case.as_of(18)),
        (StartStatus::Confirmed, Some(day(15)))
    );
}

/// The start of block B by hand, with the range that was entered.
fn by_hand(within: Option<[i64; 2]>) -> Note {
    let start = StartByHand {
        day: day(15),
        within: within.map(|days| days.map(day)),
    };
    note(day(20), None, NoteKind::EggLayingStart(start))
}

#[test]
fn by_traps_laying_may_have_begun_since_the_check_before() {
    assert_eq!(block_with(4).as_of(3).may_have_begun(), None);
    // Checks of 4, 8 and 11 April without eggs, then two with them.
    let case = quiet().counts(15, &[2, 1, 3, 1]).counts(18, &[9, 5, 8, 6]);
    let start = case.as_of(18);
    assert_eq!(told(&start), (StartStatus::Confirmed, Some(day(15))));
    let before = start.evidence.check_before.unwrap();
    let range = Some([before + TimeDelta::days(1), day(15)]);
    assert_eq!(start.may_have_begun(), range);
}

#[test]
fn a_start_by_hand_lies_within_the_range_entered_or_three_days_to_each_side() {
    let check = |within, expected: [i64; 2]| {
        let mut case = quiet().counts(15, &[2, 1, 3, 1]).counts(18, &[9, 5, 8, 6]);
        case.notes.push(by_hand(within));
        let start = case.as_of(20);
        assert_eq!(told(&start), (StartStatus::ByHand, Some(day(15))));
        assert_eq!(start.may_have_begun(), Some(expected.map(day)));
    };
    check(None, [12, 18]);
    check(Some([9, 16]), [9, 16]);
}

#[test]
fn a_borrowed_start_lies_within_five_days_to_each_side_or_what_its_lender_knows() {
    let borrower = Block {
        id: BlockId::new("C").unwrap(),
        ..block()
    };
    let check = |mut case: Case, expected: [i64; 2]| {
        case.blocks.push(borrower.clone());
        let start = case.as_of(25);
        assert_eq!(told(&start), (StartStatus::Borrowed, Some(day(15))));
        assert_eq!(start.may_have_begun(), Some(expected.map(day)));
    };
    let with_eggs = |case: Case| case.counts(15, &[2, 1, 3, 1]).counts(18, &[9, 5, 8, 6]);
    check(with_eggs(quiet()), [10, 20]);
    // The lender's traps were read eleven days before: laying may have begun ten days before.
    let seldom = block_with(4).counts(2, &[0; 4]).counts(4, &[0; 4]);
    check(with_eggs(seldom), [5, 20]);
    let mut case = with_eggs(quiet());
    case.notes.push(by_hand(None));
    check(case, [10, 20]);
    let mut case = with_eggs(quiet());
    case.notes.push(by_hand(Some([12, 22])));
    check(case, [10, 22]);
}
