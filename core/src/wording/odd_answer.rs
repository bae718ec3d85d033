//! What is odd about a feed's answer that was kept aside.

use chrono::Month;

use crate::temperature::Unit;
use crate::weather::{Looks, Maxima, Oddity};

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
                maxima,
                looks,
            } => {
                let where_they_lie = median_f.map_or_else(
                    || "unlike those of an orchard at its place".to_owned(),
                    |median_f| format!("{} from what is usual there", by(median_f)),
                );
                format!(
                    "answered {}: {}{} {where_they_lie}",
                    how(looks, "temperatures of another place"),
                    plural(days, "new day"),
                    maxima.map(|maxima| maxima.words()).unwrap_or_default(),
                )
            }
        }
    }
}

impl Maxima {
    /// Fits after the days they are of.
    fn words(self) -> String {
        let month = u8::try_from(self.month).map(Month::try_from);
        let month = month
            .ok()
            .and_then(Result::ok)
            .map_or("", |month| month.name());
        let (low, high) = (self.low, self.high);
        format!(
            ", {month} maxima of {low:.0} to {high:.0} {},",
            self.unit.symbol()
        )
    }
}

fn how(looks: Option<Looks>, else_it_is: &str) -> String {
    match looks {
        Some(Looks::OtherUnit(written)) => format!("what looks like {}", written.words()),
        Some(Looks::DayOff) => "with its days shifted by one, it seems".to_owned(),
        Some(Looks::AllEqual) => "with the same temperatures on every day".to_owned(),
        Some(Looks::Doubted) | None => else_it_is.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use crate::weather::Written;

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
            maxima: Some(Maxima {
                month: 7,
                unit: Unit::Fahrenheit,
                low: 30.4,
                high: 39.6,
            }),
            looks,
        };
        let other_unit = Some(Looks::OtherUnit(Written::Celsius));
        for (oddity, unit, expected) in [
            (
                changed(other_unit),
                Unit::Fahrenheit,
                "answered what looks like °C: 58 of 60 days differ, by 41 °F in the median",
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
                "answered what looks like °C: 12 new days, July maxima of 30 to 40 °F, 63 °F in the median from what is usual there",
            ),
            (
                unlike(None, None),
                Unit::Fahrenheit,
                "answered temperatures of another place: 12 new days, July maxima of 30 to 40 °F, unlike those of an orchard at its place",
            ),
        ] {
            assert_eq!(oddity.words(unit), expected);
        }
    }
}
