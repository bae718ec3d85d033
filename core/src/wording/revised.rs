//! Station days whose temperatures a feed has revised, in a line for the digest.

use chrono::NaiveDate;

use crate::temperature::{Temperature, Unit};
use crate::weather::{Element, ReceivedDay};

use super::stations::stretches;
use super::words::Words;
use super::work::plural;

/// So many changes are named, the largest first.
const NAMED: usize = 3;
/// Values nearer than this are the same, °F: feeds round to tenths of either unit.
const SAME_F: f64 = 0.1;

/// A station day before and after a revision.
#[derive(Debug, Clone, PartialEq)]
pub struct RevisedDay {
    /// As it was at the last telling.
    pub was: ReceivedDay,
    /// As it is.
    pub now: ReceivedDay,
}

/// One value that was revised.
struct RevisedValue {
    date: NaiveDate,
    element: Element,
    was: Temperature,
    now: Temperature,
}

impl RevisedValue {
    fn by_f(&self) -> f64 {
        let [was, now] = [self.was, self.now].map(|value| value.in_unit(Unit::Fahrenheit));
        (now - was).abs()
    }
}

impl RevisedDay {
    /// The values that were there before and are others now; one that came late is none of them.
    fn values(&self) -> impl Iterator<Item = RevisedValue> {
        let of = |element, was: Option<f64>, now: Option<f64>| {
            let value = RevisedValue {
                date: self.now.date,
                element,
                was: Temperature::new(was?, self.was.unit)?,
                now: Temperature::new(now?, self.now.unit)?,
            };
            (value.by_f() >= SAME_F).then_some(value)
        };
        let min = of(Element::Min, self.was.min, self.now.min);
        let max = of(Element::Max, self.was.max, self.now.max);
        min.into_iter().chain(max)
    }
}

impl Words {
    /// That days of a station were revised since the last digest, with the largest changes; `None` where
    /// no value is another.
    #[must_use]
    pub fn revised_days(self, station: &str, unit: Unit, days: &[RevisedDay]) -> Option<String> {
        let mut values: Vec<RevisedValue> = days.iter().flat_map(RevisedDay::values).collect();
        let mut dates: Vec<NaiveDate> = values.iter().map(|value| value.date).collect();
        dates.sort_unstable();
        dates.dedup();
        values.sort_by(|a, b| b.by_f().total_cmp(&a.by_f()).then(a.date.cmp(&b.date)));
        let named = values.iter().take(NAMED).map(|value| {
            format!(
                "{} {} {:.1} → {:.1} {}",
                self.day(value.date),
                value.element.words(),
                value.was.in_unit(unit),
                value.now.in_unit(unit),
                unit.symbol()
            )
        });
        let named: Vec<String> = named.collect();
        let largest = match values.len() {
            0 => return None,
            1..=NAMED => "",
            _ => "most of all ",
        };
        Some(format!(
            "{station}: {} revised since the last digest, {}: {largest}{}",
            plural(dates.len(), "day"),
            stretches(self, &dates),
            named.join(", ")
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(d: u32, min: Option<f64>, max: f64, unit: Unit) -> ReceivedDay {
        ReceivedDay {
            date: NaiveDate::from_ymd_opt(2022, 6, d).unwrap(),
            min,
            max: Some(max),
            unit,
            min_flag: None,
            max_flag: None,
        }
    }

    fn revised(d: u32, was: (Option<f64>, f64), now: (Option<f64>, f64)) -> RevisedDay {
        RevisedDay {
            was: day(d, was.0, was.1, Unit::Fahrenheit),
            now: day(d, now.0, now.1, Unit::Fahrenheit),
        }
    }

    fn line(days: &[RevisedDay]) -> Option<String> {
        Words::default().revised_days("Merced", Unit::Fahrenheit, days)
    }

    #[test]
    fn revised_days_are_told_with_their_values_before_and_after() {
        let days = [
            revised(3, (Some(55.0), 88.0), (Some(55.0), 90.0)),
            revised(4, (Some(54.0), 85.0), (Some(53.0), 85.0)),
        ];
        let expected = "Merced: 2 days revised since the last digest, Jun 3–4: Jun 3 maximum 88.0 → 90.0 °F, \
                        Jun 4 minimum 54.0 → 53.0 °F";
        assert_eq!(line(&days).unwrap(), expected);
    }

    #[test]
    fn of_many_changes_the_largest_are_named() {
        let days: Vec<RevisedDay> = (1..=6)
            .map(|d| revised(d, (None, 80.0), (None, 80.0 + f64::from(d))))
            .collect();
        let expected = "Merced: 6 days revised since the last digest, Jun 1–6: most of all Jun 6 maximum 80.0 → \
                        86.0 °F, Jun 5 maximum 80.0 → 85.0 °F, Jun 4 maximum 80.0 → 84.0 °F";
        assert_eq!(line(&days).unwrap(), expected);
    }

    #[test]
    fn a_value_that_came_late_or_in_another_unit_is_no_revision() {
        let late = revised(3, (None, 88.0), (Some(55.0), 88.0));
        // 31.1 °C are 87.98 °F.
        let other_unit = RevisedDay {
            was: day(4, None, 88.0, Unit::Fahrenheit),
            now: day(4, None, 31.1, Unit::Celsius),
        };
        assert_eq!(line(&[late, other_unit]), None);
    }
}
