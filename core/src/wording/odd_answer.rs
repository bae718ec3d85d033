//! What is odd about a feed's answer that was kept aside.

use crate::temperature::Unit;
use crate::weather::{Looks, Oddity};

use super::work::plural;

impl Oddity {
    /// What is odd, with differences in `unit`: fits after a station's name and a colon.
    #[must_use]
    pub fn words(&self, unit: Unit) -> String {
        let by = |median_f: f64| {
            let by = unit.difference(median_f);
            format!("{by:.0} {} in the median", unit.symbol())
        };
        match *self {
            Self::Crossed { days, of } => format!(
                "answered with minima and maxima swapped, it seems: on {days} of {} the minimum is above the \
                 maximum",
                plural(of, "day")
            ),
            Self::Changed {
                days,
                of,
                looks: Some(Looks::Doubted),
                ..
            } => format!(
                "answered that {days} of {} which were good before are doubtful",
                plural(of, "day")
            ),
            Self::Changed {
                days,
                of,
                median_f,
                looks,
            } => format!(
                "answered {}: {days} of {} differ, by {}",
                how(looks, "other temperatures than before"),
                plural(of, "day"),
                by(median_f)
            ),
            Self::Unlike {
                days,
                median_f,
                looks,
            } => {
                let where_they_lie = median_f.map_or_else(
                    || "unlike those of any orchard".to_owned(),
                    |median_f| format!("{} from what is usual there", by(median_f)),
                );
                format!(
                    "answered {}: {} {where_they_lie}",
                    how(looks, "temperatures of another place"),
                    plural(days, "new day")
                )
            }
        }
    }
}

const fn how(looks: Option<Looks>, else_it_is: &str) -> &str {
    match looks {
        Some(Looks::OtherUnit) => "in another unit, it seems",
        Some(Looks::DayOff) => "with its days shifted by one, it seems",
        Some(Looks::AllEqual) => "with the same temperatures on every day",
        Some(Looks::Doubted) | None => else_it_is,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_odd_is_said_with_its_size() {
        let changed = |looks| Oddity::Changed {
            days: 58,
            of: 60,
            median_f: 41.0,
            looks,
        };
        let unlike = |median_f, looks| Oddity::Unlike {
            days: 12,
            median_f,
            looks,
        };
        let other_unit = Some(Looks::OtherUnit);
        for (oddity, unit, expected) in [
            (
                changed(other_unit),
                Unit::Fahrenheit,
                "answered in another unit, it seems: 58 of 60 days differ, by 41 °F in the median",
            ),
            (
                changed(None),
                Unit::Celsius,
                "answered other temperatures than before: 58 of 60 days differ, by 23 °C in the median",
            ),
            (
                changed(Some(Looks::Doubted)),
                Unit::Celsius,
                "answered that 58 of 60 days which were good before are doubtful",
            ),
            (
                Oddity::Crossed { days: 58, of: 60 },
                Unit::Celsius,
                "answered with minima and maxima swapped, it seems: on 58 of 60 days the minimum is above the \
                 maximum",
            ),
            (
                unlike(Some(63.0), other_unit),
                Unit::Fahrenheit,
                "answered in another unit, it seems: 12 new days 63 °F in the median from what is usual there",
            ),
            (
                unlike(None, None),
                Unit::Fahrenheit,
                "answered temperatures of another place: 12 new days unlike those of any orchard",
            ),
        ] {
            assert_eq!(oddity.words(unit), expected);
        }
    }
}
