//! When a station's newest day is fresh.

use chrono::NaiveDate;

/// So many days lie between a station's newest day and today at the most while nothing is wrong: public
/// archives lag two to three days. What comes later than that is late.
pub const FRESH_DAYS: u16 = 4;

/// Whether a station's newest day is fresh on a civil day.
#[must_use]
pub fn is_fresh(newest: NaiveDate, on: NaiveDate) -> bool {
    (on - newest).num_days() <= i64::from(FRESH_DAYS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_newest_day_is_fresh_for_four_days() {
        let day = |d| NaiveDate::from_ymd_opt(2022, 6, d).unwrap();
        let fresh = [17, 16, 15, 14].map(|newest| is_fresh(day(newest), day(19)));
        assert_eq!(fresh, [true, true, true, false]);
    }
}
