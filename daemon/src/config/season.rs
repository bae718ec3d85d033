//! The season, and on which mornings people are told.

use chrono::{Datelike, NaiveDate};
use duskflight_core::ledger::plan::Pace;

use super::{Config, MonthDay};

impl Config {
    /// Whether a civil day lies in the season.
    #[must_use]
    pub fn in_season(&self, day: NaiveDate) -> bool {
        let today = MonthDay {
            month: day.month(),
            day: day.day(),
        };
        (self.season_from..=self.season_to).contains(&today)
    }

    /// Whether people are told on a civil day, and how often they are at that time of year.
    #[must_use]
    pub fn pace_on(&self, day: NaiveDate) -> Option<Pace> {
        if self.in_season(day) {
            return Some(Pace::Daily);
        }
        (day.weekday() == self.off_season_day).then_some(Pace::Weekly)
    }

    /// The last civil day before another on which people were to be told.
    #[must_use]
    pub fn owed_before(&self, day: NaiveDate) -> NaiveDate {
        let before = std::iter::successors(day.pred_opt(), NaiveDate::pred_opt);
        let mut told = before.filter(|day| self.pace_on(*day).is_some());
        told.next().unwrap_or(day)
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    #[test]
    fn off_the_season_people_are_told_once_a_week() {
        let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/minimal");
        let config = Config::read(&sample).unwrap();
        // The season ends on Monday, 31 October 2022; the next Monday is 7 November.
        assert_eq!(config.pace_on(day(10, 31)), Some(Pace::Daily));
        assert_eq!(config.pace_on(day(11, 1)), None);
        assert_eq!(config.pace_on(day(11, 7)), Some(Pace::Weekly));
        assert_eq!(config.owed_before(day(11, 7)), day(10, 31));
        assert_eq!(config.owed_before(day(11, 14)), day(11, 7));
        assert_eq!(config.owed_before(day(6, 20)), day(6, 19));
        // 1 March 2022 is a Tuesday.
        assert_eq!(config.owed_before(day(3, 1)), day(2, 28));
    }
}
