//! Days of silence that a mail makes up for.

use chrono::{Days, NaiveDate};

/// A mail that tells what has gathered since an earlier day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct CatchUp {
    /// The last day told before.
    pub since: NaiveDate,
    /// Days from that one to this mail's.
    pub days: u64,
}

impl CatchUp {
    /// What a mail of `day` makes up for when `since` was told last and nothing was owed up to and
    /// including `owed_after`; `None` where nothing is made up for.
    #[must_use]
    pub fn of(since: NaiveDate, owed_after: NaiveDate, day: NaiveDate) -> Option<Self> {
        let days = u64::try_from((day - since).num_days()).ok()?;
        (since < owed_after).then_some(Self { since, days })
    }

    /// The longer of two.
    #[must_use]
    pub fn or_longer(self, other: Option<Self>) -> Self {
        other.filter(|other| other.days > self.days).unwrap_or(self)
    }

    /// The first day it is about.
    #[must_use]
    pub fn from(self) -> NaiveDate {
        self.since
            .checked_add_days(Days::new(1))
            .unwrap_or(self.since)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, d).unwrap()
    }

    #[test]
    fn a_mail_makes_up_for_days_only_where_one_was_left_out() {
        // Told on the 10th and owed every day: the 11th is no catch-up, the 20th makes up for ten days.
        assert_eq!(CatchUp::of(day(10), day(10), day(11)), None);
        let ten = CatchUp::of(day(10), day(19), day(20)).unwrap();
        assert_eq!((ten.since, ten.days), (day(10), 10));
        let longer = CatchUp::of(day(5), day(19), day(20));
        assert_eq!(ten.or_longer(longer).days, 15);
        assert_eq!(ten.or_longer(None), ten);
    }
}
