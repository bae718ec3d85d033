use proptest::prelude::*;

use super::*;
use crate::sample::note;
use crate::season::tests::{date, heat, received, season_of, started};
use crate::trapping::{Note, NoteKind};
use crate::weather::ReceivedDay;
use crate::wording::DateOrder;

/// A season of 20 °F-days a day from 1 May, after years of 16, 20 and 24.
fn chart_of(received: &[ReceivedDay], notes: &[Note], as_of: NaiveDate) -> Option<HeatChart> {
    let season = season_of(received, notes, as_of);
    heat_chart(Words::default(), &season, &heat(received, as_of))
}

fn chart(notes: &[Note], as_of: NaiveDate) -> HeatChart {
    chart_of(&received(as_of), notes, as_of).unwrap()
}

#[test]
fn sums_and_levels_of_marks_are_those_by_hand() {
    let chart = chart(&started(), date(2021, 5, 10));
    // Nine days of 20; 100, 1056, 1056 + 723 and 1056 + 2 · 723.
    assert_eq!(chart.known.last().unwrap().sum, 180.0);
    let levels: Vec<f64> = chart.marks.iter().map(|mark| mark.sum).collect();
    assert_eq!(levels, [100.0, 1056.0, 1779.0, 2502.0]);
    let passed: Vec<bool> = chart.marks.iter().map(|mark| mark.passed).collect();
    assert_eq!(passed, [true, false, false, false]);
    let label = "first egg hatch: passed\u{a0}May\u{a0}5";
    assert_eq!(chart.marks[0].label, label);
    // The sixth day of the three years: 96, 120 and 144.
    let sixth = &chart.band[1];
    assert_eq!((sixth.low, sixth.middle, sixth.high), (96.0, 120.0, 144.0));
}

#[test]
fn a_mark_that_counts_from_hull_split_lies_as_much_above_the_sum_of_that_day() {
    let mut notes = started();
    let split = NoteKind::HullSplitExpected(date(2021, 7, 20));
    notes.push(note(date(2021, 7, 1), Some("Nonpareil"), split));
    let chart = chart(&notes, date(2021, 7, 25));
    // 1 May to 19 July are 80 days of 20, above 1056: 1600 + 723.
    let third = chart
        .marks
        .iter()
        .find(|mark| mark.label.starts_with("third"));
    assert_eq!(third.unwrap().sum, 2323.0);
}

#[test]
fn the_sentences_have_the_numbers() {
    let chart = chart(&started(), date(2021, 5, 10));
    // Three earlier years of 16, 20 and 24 a day: 144, 180 and 216 in nine days.
    let expected = "Heat in Bench: 180 °F-days from May 1 to May 9. 3 earlier years (2018–2020) had 144 \
                    to 216 by then, the middle one 180. Next mark: second-generation egg laying at 1056 \
                    °F-days, projected ";
    let alt = &chart.frame.alt;
    assert!(alt.starts_with(expected), "{alt}");
    assert_eq!(chart.known_label, "this season: 180 on May 9");
    let subtitle = "°F-days since egg-laying start May 1, set by hand";
    assert_eq!(chart.frame.subtitle, subtitle);
    let years = "3 earlier years (2018–2020), line: middle";
    assert_eq!(chart.band_label.as_deref(), Some(years));
}

#[test]
fn celsius_and_day_month_are_the_farms_choice() {
    let as_of = date(2021, 5, 10);
    let mut season = season_of(&received(as_of), &started(), as_of);
    season.unit = Unit::Celsius;
    let words = Words {
        order: DateOrder::DayMonth,
    };
    let chart = heat_chart(words, &season, &heat(&received(as_of), as_of)).unwrap();
    // 180 · 5/9.
    assert_eq!(chart.known.last().unwrap().sum, 100.0);
    assert_eq!(chart.known_label, "this season: 100 on 9 May");
    assert!(
        chart
            .frame
            .subtitle
            .starts_with("°C-days since egg-laying start 1 May")
    );
}

#[test]
fn a_sum_that_ends_before_a_hole_says_so_and_projects_nothing() {
    let as_of = date(2021, 7, 10);
    let mut received = received(as_of);
    received.retain(|day| !(date(2021, 5, 12)..date(2021, 7, 1)).contains(&day.date));
    let chart = chart_of(&received, &started(), as_of).unwrap();
    assert!(chart.frame.alt.contains("so the sum ends before it"));
    assert_eq!(chart.ahead, []);
    assert!(chart.marks.iter().all(|mark| mark.passed));
}

#[test]
fn estimated_days_are_marked() {
    let as_of = date(2021, 5, 20);
    let mut received = received(as_of);
    received.retain(|day| day.date != date(2021, 5, 8));
    let chart = chart_of(&received, &started(), as_of).unwrap();
    let estimated = chart.known.iter().filter(|day| day.estimated);
    let days: Vec<NaiveDate> = estimated.map(|day| day.day).collect();
    assert_eq!(days, [date(2021, 5, 8)]);
    assert_eq!(chart.estimated_label.as_deref(), Some("1 day estimated"));
}

#[test]
fn without_earlier_years_there_is_no_band_and_nothing_ahead() {
    let as_of = date(2021, 5, 10);
    let mut received = received(as_of);
    received.retain(|day| day.date >= date(2021, 1, 1));
    let chart = chart_of(&received, &started(), as_of).unwrap();
    assert_eq!((chart.band.len(), chart.ahead.len()), (0, 0));
    assert_eq!((chart.band_label, chart.ahead_label), (None, None));
}

#[test]
fn without_a_start_or_heat_there_is_no_chart() {
    let as_of = date(2021, 5, 10);
    assert_eq!(chart_of(&received(as_of), &[], as_of), None);
    assert_eq!(chart_of(&[], &started(), as_of), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn all_that_is_drawn_lies_within_its_axes(days in 1_u64..240) {
        let chart = chart(&started(), days_after(date(2021, 5, 1), days));
        let within = |day: NaiveDate, sum: f64| {
            (chart.frame.first..=chart.frame.last).contains(&day)
                && (0.0..=chart.sums.highest).contains(&sum)
        };
        for day in &chart.known {
            prop_assert!(within(day.day, day.sum));
        }
        for day in &chart.band {
            prop_assert!(day.low <= day.middle && day.middle <= day.high);
            prop_assert!(within(day.day, day.high));
        }
        for pair in chart.ahead.windows(2) {
            prop_assert!(pair[0].day < pair[1].day && within(pair[1].day, pair[1].sum));
        }
        for mark in &chart.marks {
            prop_assert!(mark.early <= mark.middle && mark.middle <= mark.late);
            prop_assert!(within(mark.middle, mark.sum));
        }
    }
}
