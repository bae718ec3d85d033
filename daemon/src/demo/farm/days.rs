//! Days of the year played.

use chrono::NaiveDate;

/// A month and a day of it, both counted from 1.
pub type MonthDay = (u32, u32);

/// A civil day of the season; every caller names a real one.
pub(super) fn day_of(year: i32, (month, day): MonthDay) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a day that every year has")
}
