//! What is told of an event, and how far it may move before people hear of it again.

use std::fmt;
use std::str::FromStr;

use chrono::NaiveDate;

use crate::season::{First, Projection};

/// What is told of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Value {
    /// A fact: it happened on a day.
    Day(NaiveDate),
    /// A fact that nobody saw on its day: the likely day, and those within which it lies.
    Within {
        /// First day.
        early: NaiveDate,
        /// The likely day.
        day: NaiveDate,
        /// Last day.
        late: NaiveDate,
    },
    /// A projection: a range and its middle.
    Range {
        /// First day.
        early: NaiveDate,
        /// Middle.
        middle: NaiveDate,
        /// Last day.
        late: NaiveDate,
    },
    /// Moths caught by a reading.
    Caught {
        /// The day of the reading.
        date: NaiveDate,
        /// How many.
        count: u32,
    },
    /// Which comes first at a harvest.
    First(First),
}

/// A fact that moves by so many days is told anew.
const FACT_MOVES_DAYS: i64 = 2;

impl Value {
    /// Its day, the middle one of a range; `None` for one without a day.
    pub(crate) const fn day(self) -> Option<NaiveDate> {
        match self {
            Self::Day(day)
            | Self::Within { day, .. }
            | Self::Range { middle: day, .. }
            | Self::Caught { date: day, .. } => Some(day),
            Self::First(_) => None,
        }
    }

    /// Whether a new value differs so much that people who were told this one must hear of it: a
    /// projection when the new middle, or the day on which it happened, leaves the told range, a fact when it moves
    /// two days, beyond the range it was told with where it had one, a catch when its count changes, a harvest when the other comes first. A day told without a range is
    /// left when the range that is known now does not hold it.
    #[must_use]
    pub fn is_left_by(self, new: Self) -> bool {
        match (self, new) {
            (
                Self::Range { early, late, .. },
                Self::Range { middle: day, .. } | Self::Within { day, .. } | Self::Day(day),
            ) => !(early..=late).contains(&day),
            (Self::Within { early, late, .. }, Self::Within { day, .. } | Self::Day(day)) => {
                (early - day).max(day - late).num_days() >= FACT_MOVES_DAYS
            }
            (Self::Day(told), Self::Within { early, late, .. }) => !(early..=late).contains(&told),
            (Self::Day(told), Self::Day(now)) => (now - told).num_days().abs() >= FACT_MOVES_DAYS,
            (Self::Caught { count: told, .. }, Self::Caught { count: now, .. }) => told != now,
            (Self::First(told), Self::First(now)) => told != now,
            _ => true,
        }
    }
}

const SHAKE_FIRST: &str = "shake-first";
const EGG_LAYING_FIRST: &str = "egg-laying-first";

impl Value {
    /// Whether one is a fact and the other a projection: it happened, or is ahead again.
    pub(super) const fn is_other_state_than(self, other: Self) -> bool {
        matches!(
            (self, other),
            (Self::Day(_) | Self::Within { .. }, Self::Range { .. })
                | (Self::Range { .. }, Self::Day(_) | Self::Within { .. })
        )
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Day(day) => write!(f, "{day}"),
            Self::Within { early, day, late } => write!(f, "{day} in {early}/{late}"),
            Self::Range {
                early,
                middle,
                late,
            } => write!(f, "{early}/{middle}/{late}"),
            Self::Caught { date, count } => write!(f, "{date}={count}"),
            Self::First(First::Shake) => f.write_str(SHAKE_FIRST),
            Self::First(First::EggLaying) => f.write_str(EGG_LAYING_FIRST),
        }
    }
}

/// A ledger value that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0:?} is neither a day, nor a day in early/late days, nor early/middle/late days, nor a day=count, nor what comes first at a harvest"
)]
pub struct BadValue(String);

impl FromStr for Value {
    type Err = BadValue;

    fn from_str(text: &str) -> Result<Self, BadValue> {
        let bad = || BadValue(text.to_owned());
        match text {
            SHAKE_FIRST => return Ok(Self::First(First::Shake)),
            EGG_LAYING_FIRST => return Ok(Self::First(First::EggLaying)),
            _ => {}
        }
        if let Some((date, count)) = text.split_once('=') {
            return match (date.parse(), count.parse()) {
                (Ok(date), Ok(count)) => Ok(Self::Caught { date, count }),
                _ => Err(bad()),
            };
        }
        if let Some((day, within)) = text.split_once(" in ") {
            let (early, late) = within.split_once('/').ok_or_else(bad)?;
            return match (early.parse(), day.parse(), late.parse()) {
                (Ok(early), Ok(day), Ok(late)) => Ok(Self::Within { early, day, late }),
                _ => Err(bad()),
            };
        }
        let days: Result<Vec<NaiveDate>, _> = text.split('/').map(str::parse).collect();
        match days.map_err(|_| bad())?[..] {
            [day] => Ok(Self::Day(day)),
            [early, middle, late] => Ok(Self::Range {
                early,
                middle,
                late,
            }),
            _ => Err(bad()),
        }
    }
}

impl From<&Projection> for Value {
    fn from(projection: &Projection) -> Self {
        Self::Range {
            early: projection.early,
            middle: projection.middle,
            late: projection.late,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, d).unwrap()
    }

    #[test]
    fn a_value_reads_back_what_it_writes() {
        let range = Value::Range {
            early: day(20),
            middle: day(24),
            late: day(29),
        };
        let caught = Value::Caught {
            date: day(1),
            count: 12,
        };
        let sides = [First::Shake, First::EggLaying].map(Value::First);
        let within = within([8, 10, 14]);
        for value in [
            Value::Day(day(1)),
            range,
            caught,
            sides[0],
            sides[1],
            within,
        ] {
            assert_eq!(value.to_string().parse(), Ok(value));
        }
        assert!("2022-06-01/2022-06-02".parse::<Value>().is_err());
        assert!("soon".parse::<Value>().is_err());
        assert!("2022-06-10 in 2022-06-08".parse::<Value>().is_err());
        assert!("2022-06-01=few".parse::<Value>().is_err());
    }

    #[test]
    fn a_projection_is_left_only_by_a_middle_outside_its_range() {
        let told = Value::Range {
            early: day(20),
            middle: day(24),
            late: day(29),
        };
        let now = |middle| Value::Range {
            early: day(1),
            middle,
            late: day(30),
        };
        assert!(!told.is_left_by(now(day(20))));
        assert!(!told.is_left_by(now(day(29))));
        assert!(told.is_left_by(now(day(19))));
        assert!(told.is_left_by(now(day(30))));
    }

    fn within([early, likely, late]: [u32; 3]) -> Value {
        Value::Within {
            early: day(early),
            day: day(likely),
            late: day(late),
        }
    }

    #[test]
    fn a_likely_day_is_left_by_one_two_days_outside_its_range_and_has_passed_like_any_other() {
        let told = within([8, 10, 14]);
        assert!(!told.is_left_by(within([5, 7, 9])) && told.is_left_by(within([4, 6, 9])));
        assert!(!told.is_left_by(Value::Day(day(15))) && told.is_left_by(Value::Day(day(16))));
        // What was told as a plain day stays while the range that is known now holds it.
        assert!(!Value::Day(day(14)).is_left_by(told) && Value::Day(day(15)).is_left_by(told));
        let ahead = Value::Range {
            early: day(8),
            middle: day(10),
            late: day(14),
        };
        assert!(told.is_other_state_than(ahead) && !ahead.is_left_by(told));
        assert!(!told.is_other_state_than(Value::Day(day(10))));
    }

    #[test]
    fn a_fact_is_left_after_two_days_and_a_harvest_when_the_other_comes_first() {
        assert!(!Value::Day(day(10)).is_left_by(Value::Day(day(11))));
        assert!(Value::Day(day(10)).is_left_by(Value::Day(day(12))));
        assert!(Value::Day(day(10)).is_left_by(Value::Day(day(8))));
        let [shake, laying] = [First::Shake, First::EggLaying].map(Value::First);
        assert!(shake.is_left_by(laying) && !shake.is_left_by(shake));
    }
}
