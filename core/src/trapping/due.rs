//! How a due day stands: overdue, due, coming, or waiting.

use std::fmt;

use chrono::NaiveDate;

/// What is due in so many days is due soon.
const SOON_DAYS: i64 = 7;

/// How a due day stands on another day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DueState {
    /// It is past.
    Overdue,
    /// It is today.
    Today,
    /// It is past, today or within a week, and nobody may enter the block before this day.
    Closed(NaiveDate),
    /// It is within a week.
    Soon,
    /// It is past, today or within a week, and may be left out.
    Optional,
    /// It is later.
    Later,
}

impl DueState {
    /// How `due` stands on `day`.
    #[must_use]
    pub fn on(due: NaiveDate, day: NaiveDate) -> Self {
        match (due - day).num_days() {
            ..0 => Self::Overdue,
            0 => Self::Today,
            1..=SOON_DAYS => Self::Soon,
            _ => Self::Later,
        }
    }

    /// How `due` stands on `day` in a block that nobody may enter before a day: what is due before
    /// that day waits for it.
    #[must_use]
    pub fn while_closed(due: NaiveDate, day: NaiveDate, closed_until: Option<NaiveDate>) -> Self {
        match (Self::on(due, day), closed_until) {
            (Self::Later, _) => Self::Later,
            (_, Some(until)) if due < until => Self::Closed(until),
            (state, _) => state,
        }
    }
}

impl fmt::Display for DueState {
    /// The words used in lists.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Overdue => f.write_str("overdue"),
            Self::Today => f.write_str("due today"),
            Self::Closed(until) => write!(f, "closed until {until}"),
            Self::Soon => f.write_str("soon"),
            Self::Optional => f.write_str("optional"),
            Self::Later => f.write_str("later"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 5, day).unwrap()
    }

    #[test]
    fn a_due_day_is_overdue_only_once_it_is_past() {
        let state = |day| DueState::on(date(13), date(day));
        assert_eq!(state(14), DueState::Overdue);
        assert_eq!(state(13), DueState::Today);
        assert_eq!((state(12), state(6)), (DueState::Soon, DueState::Soon));
        assert_eq!(state(5), DueState::Later);
    }

    #[test]
    fn what_is_due_before_a_closed_block_opens_waits_and_is_not_overdue() {
        let state = |due| DueState::while_closed(date(due), date(13), Some(date(16)));
        let waits = DueState::Closed(date(16));
        assert_eq!([10, 13, 15].map(state), [waits, waits, waits]);
        // On the day from which one may enter it is due as ever.
        assert_eq!([16, 21].map(state), [DueState::Soon, DueState::Later]);
        assert_eq!(waits.to_string(), "closed until 2022-05-16");
    }
}
