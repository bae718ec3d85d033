//! The same day of another year.

use chrono::{Datelike, NaiveDate};

/// Years align by month and day, 29 February falling to the 28th; `None` beyond the calendar.
pub(crate) fn same_day(day: NaiveDate, year: i32) -> Option<NaiveDate> {
    let other = day.with_year(year);
    other.or_else(|| NaiveDate::from_ymd_opt(year, 2, 28))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_day_of_a_leap_year_falls_to_the_one_before() {
        let date = |year, month, day| NaiveDate::from_ymd_opt(year, month, day).unwrap();
        let leap = date(2024, 2, 29);
        assert_eq!(same_day(leap, 2023), Some(date(2023, 2, 28)));
        assert_eq!(same_day(leap, 2020), Some(date(2020, 2, 29)));
        assert_eq!(same_day(date(2023, 6, 1), 2020), Some(date(2020, 6, 1)));
    }
}
