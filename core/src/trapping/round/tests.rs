use super::*;
use crate::orchard::TrapKind;
use crate::sample;
use crate::trapping::Visit;

fn date(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 5, day).unwrap()
}

/// Rounds of so many traps hung on 1 May, by their visits (trap, day, males).
fn read(hung: usize, visits: &[(usize, u32, u32)], lapses: &[Lapse]) -> Vec<Round> {
    let trap = |n| sample::trap(&format!("P{n}"), TrapKind::Pheromone, date(1));
    let traps: Vec<Trap> = (1..=hung).map(trap).collect();
    let visits = visits.iter().map(|&(n, day, males)| Visit {
        males: Some(males),
        ..sample::visit(&format!("P{n}"), date(day))
    });
    let orchard = Orchard::new(Vec::new(), traps.clone(), Vec::new());
    let traps: Vec<&Trap> = traps.iter().collect();
    let visits = Visits::new(visits.collect());
    rounds(&orchard, &traps, Counted::Males, &visits, lapses, date(31))
}

fn lapse(n: usize, due: u32, ended: Option<u32>) -> Lapse {
    Lapse {
        trap: TrapId::new(&format!("P{n}")).unwrap(),
        part: Part::Lure,
        since: date(1),
        due: date(due),
        ended: ended.map(date),
    }
}

fn sums(rounds: &[Round]) -> Vec<(NaiveDate, u32, u32, usize)> {
    let sums = rounds.iter();
    sums.map(|r| (r.by, r.count, r.trap_nights, r.traps_read))
        .collect()
}

#[test]
fn readings_of_one_week_are_one_round_however_they_are_spread() {
    // Trap 1 on Mondays and Thursdays, trap 2 on Wednesdays: 3 + 4 and 5 nights, then 3 + 4 and 7.
    let visits = [
        (1, 4, 2),
        (2, 6, 1),
        (1, 8, 3),
        (1, 11, 4),
        (2, 13, 5),
        (1, 15, 6),
    ];
    let expected = [(date(8), 6, 12, 2), (date(15), 15, 14, 2)];
    assert_eq!(sums(&read(2, &visits, &[])), expected);
}

#[test]
fn weekly_readings_stay_apart_and_unequal_intervals_count_by_their_nights() {
    // 7, 8 and 5 nights; the last round comes 5 days after the one before it.
    let found = read(1, &[(1, 8, 7), (1, 16, 8), (1, 21, 10)], &[]);
    assert_eq!(
        sums(&found),
        [
            (date(8), 7, 7, 1),
            (date(16), 8, 8, 1),
            (date(21), 10, 5, 1)
        ]
    );
    assert_eq!(found[2].per_trap_night(), 2.0);
}

#[test]
fn a_round_counts_with_half_of_the_traps_read() {
    let counts = |visits: &[(usize, u32, u32)]| read(3, visits, &[])[0].counts();
    assert!(!counts(&[(1, 8, 4)]));
    assert!(counts(&[(1, 8, 4), (2, 8, 0)]));
}

#[test]
fn traps_past_a_service_life_are_left_out_and_alone_their_zeros_say_nothing() {
    let visits = [
        (1, 8, 4),
        (2, 8, 0),
        (3, 8, 1),
        (1, 15, 6),
        (2, 15, 0),
        (3, 15, 2),
    ];
    // Trap 2 past its life in the second week: 6 + 2 on 14 nights.
    let one = read(3, &visits, &[lapse(2, 8, None)]);
    assert_eq!(sums(&one)[1], (date(15), 8, 14, 3));
    assert!(!one[1].mostly_past_life);
    // Two of three: what they caught was caught at least, but the zero is no information.
    let two = read(3, &visits, &[lapse(2, 8, None), lapse(3, 8, None)]);
    assert_eq!(sums(&two)[1], (date(15), 8, 14, 3));
    assert!(two[1].mostly_past_life);
    assert_eq!(two[1].past_life.len(), 2);
}

#[test]
fn a_trap_is_past_its_life_in_a_round_when_most_of_its_nights_are() {
    // Due on the 11th: of the seven nights to the 15th four are past it; due on the 12th only three.
    let past = |due| read(1, &[(1, 8, 4), (1, 15, 6)], &[lapse(1, due, None)])[1].mostly_past_life;
    assert!(past(11) && !past(12));
}

#[test]
fn a_catch_may_have_jumped_for_a_week_after_an_overdue_lure_was_changed() {
    let jumped = |second: u32| {
        let visits = [(1, 8, 0), (1, second, 6)];
        read(1, &visits, &[lapse(1, 6, Some(8))])[1].may_have_jumped()
    };
    assert!(jumped(15));
    assert!(!jumped(16));
}
