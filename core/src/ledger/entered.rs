//! How much people have entered, and what of it is missing: records that are lost are no evidence against what was
//! told from them.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// How much people have entered, each once, also what was changed or withdrawn since.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entered {
    /// Readings of traps, by trap and day.
    pub readings: u64,
    /// Field notes, by block, variety, kind and day.
    pub notes: u64,
    /// Temperatures judged by hand, by station and day.
    pub temperatures: u64,
}

/// Records that mails rested on and that are not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MissingRecords {
    /// What was entered when mails left; `None` where only a version left them that did not count.
    pub was: Option<Entered>,
    /// What is there.
    pub now: Entered,
    /// The civil day of the newest mail that left.
    pub newest: NaiveDate,
}

impl Entered {
    /// The larger of each count.
    #[must_use]
    pub fn or_more(self, other: Self) -> Self {
        Self {
            readings: self.readings.max(other.readings),
            notes: self.notes.max(other.notes),
            temperatures: self.temperatures.max(other.temperatures),
        }
    }

    /// Whether any count is smaller than it was.
    #[must_use]
    pub fn is_less_than(self, was: Self) -> bool {
        self.or_more(was) != self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn records_are_missing_where_any_count_is_smaller_than_it_was() {
        let entered = |readings, notes, temperatures| Entered {
            readings,
            notes,
            temperatures,
        };
        let now = entered(10, 5, 0);
        assert!(!now.is_less_than(now) && !now.is_less_than(entered(9, 0, 0)));
        for was in [entered(11, 5, 0), entered(0, 6, 0), entered(0, 0, 1)] {
            assert!(now.is_less_than(was), "{was:?}");
        }
    }
}
