//! The weekdays on which a round is walked.

use chrono::{Datelike, NaiveDate, Weekday};

use super::days::{MonthDay, day_of};
use super::places::{Block, Round};

const HANGING_FROM: MonthDay = (3, 13);
const LAST_DAY: MonthDay = (9, 30);

impl Round {
    pub(super) const fn weekdays(self) -> (Weekday, Weekday) {
        match self {
            Self::MondayThursday => (Weekday::Mon, Weekday::Thu),
            Self::TuesdayFriday => (Weekday::Tue, Weekday::Fri),
        }
    }
}

/// The day on which a block's first traps are hung, about 15 March.
pub(super) fn hanging_day(block: &Block, year: i32) -> NaiveDate {
    round_days(block.round, year)
        .next()
        .expect("a round has two days in any week")
}

/// Both weekdays of a round, from the first hanging to the end of September.
pub(super) fn round_days(round: Round, year: i32) -> impl Iterator<Item = NaiveDate> {
    let (first, second) = round.weekdays();
    day_of(year, HANGING_FROM)
        .iter_days()
        .take_while(move |&date| date <= day_of(year, LAST_DAY))
        .filter(move |date| [first, second].contains(&date.weekday()))
}
