//! Labels along the axes.

use chrono::{Datelike, Days, NaiveDate};

use crate::wording::Words;

use super::{DayTick, ValueAxis, ValueTick};

/// A shorter stretch is labelled by weeks, a longer one by months.
const SHORTEST_BY_MONTHS: i64 = 70;
/// So many labels fit along a stretch at most.
const MOST_DAY_LABELS: usize = 6;
/// An axis of values has about so many steps.
const STEPS: f64 = 4.0;

/// First days of months, or of weeks where the stretch is short.
pub(super) fn day_ticks(words: Words, first: NaiveDate, last: NaiveDate) -> Vec<DayTick> {
    let all = || first.iter_days().take_while(|day| *day <= last);
    let by_months = (last - first).num_days() >= SHORTEST_BY_MONTHS;
    let ticks: Vec<DayTick> = match by_months {
        true => all()
            .filter(|day| day.day() == 1)
            .map(|day| DayTick {
                day,
                label: day.format("%b").to_string(),
            })
            .collect(),
        false => all()
            .step_by(7)
            .map(|day| DayTick {
                day,
                label: words.day(day),
            })
            .collect(),
    };
    let step = ticks.len().div_ceil(MOST_DAY_LABELS).max(1);
    match by_months && ticks.len() <= 12 {
        true => ticks,
        false => ticks.into_iter().step_by(step).collect(),
    }
}

/// Round values from 0 to the highest.
pub(super) fn value_axis(highest: f64) -> ValueAxis {
    let step = round_step(highest.max(f64::MIN_POSITIVE) / STEPS);
    let steps = (highest / step + 1e-9).floor() as usize;
    let places = usize::from(step < 1.0) + usize::from(step < 0.1);
    let values = (0..=steps).map(|at| at as f64 * step);
    let tick = |value| ValueTick {
        value,
        label: match value > 0.0 {
            true => format!("{value:.places$}"),
            false => "0".to_owned(),
        },
    };
    ValueAxis {
        highest,
        ticks: values.map(tick).collect(),
    }
}

/// The least of 1, 2, 2.5 and 5 times a power of ten that is not below a step; 2.5 only in whole numbers, 2 in
/// its place where it is none, since 5 would leave a single step.
fn round_step(step: f64) -> f64 {
    let power = 10_f64.powf(step.log10().floor());
    let whole = power >= 10.0;
    let fits = |times: &f64| {
        let enough = times * power >= step * (1.0 - 1e-9);
        match *times {
            2.0 if !whole => 2.5 * power > step * (1.0 + 1e-9),
            2.5 => whole && enough,
            _ => enough,
        }
    };
    let times = [1.0, 2.0, 2.5, 5.0].into_iter().find(fits);
    times.unwrap_or(10.0) * power
}

/// The day so many days later.
pub(super) fn days_after(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(Days::new(days)).unwrap_or(day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn labels(highest: f64) -> Vec<String> {
        let axis = value_axis(highest);
        axis.ticks.into_iter().map(|tick| tick.label).collect()
    }

    #[test]
    fn values_are_labelled_in_round_steps() {
        assert_eq!(labels(2345.0), ["0", "1000", "2000"]);
        assert_eq!(labels(1000.0), ["0", "250", "500", "750", "1000"]);
        assert_eq!(labels(7.3), ["0", "2", "4", "6"]);
        assert_eq!(labels(0.17), ["0", "0.05", "0.10", "0.15"]);
        assert_eq!(labels(0.8078), ["0", "0.2", "0.4", "0.6", "0.8"]);
        assert_eq!(labels(10.0), ["0", "5", "10"]);
    }

    #[test]
    fn long_stretches_are_labelled_by_months_and_short_ones_by_days() {
        let date = |month, day| NaiveDate::from_ymd_opt(2022, month, day).unwrap();
        let labels = |first, last| {
            let ticks = day_ticks(Words::default(), first, last);
            let labels: Vec<String> = ticks.into_iter().map(|tick| tick.label).collect();
            labels.join(" ")
        };
        assert_eq!(labels(date(4, 18), date(8, 30)), "May Jun Jul Aug");
        assert_eq!(
            labels(date(4, 18), date(5, 12)),
            "Apr 18 Apr 25 May 2 May 9"
        );
        assert_eq!(labels(date(4, 18), date(4, 18)), "Apr 18");
    }

    proptest! {
        #[test]
        fn an_axis_has_a_few_labels_up_to_its_highest_value(highest in 0.01..50_000.0_f64) {
            let axis = value_axis(highest);
            prop_assert!(axis.ticks.iter().all(|tick| tick.value <= highest * (1.0 + 1e-8)));
            prop_assert!((3..=5).contains(&axis.ticks.len()), "{:?}", axis);
        }
    }
}
