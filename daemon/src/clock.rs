//! The only place that reads the time. Everything else is handed an instant.

use std::sync::atomic::{AtomicI64, Ordering};

use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;

/// Tells the time.
pub trait Clock: Send + Sync {
    /// The present instant.
    fn now(&self) -> DateTime<Utc>;
}

/// The machine's clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(
        clippy::disallowed_methods,
        reason = "the one place that reads the time"
    )]
    fn now(&self) -> DateTime<Utc> {
        Utc::now()
    }
}

/// A clock that somebody sets, for replays and tests.
#[derive(Debug, Default)]
pub struct SetClock {
    seconds: AtomicI64,
}

impl SetClock {
    /// A clock that stands at an instant.
    #[must_use]
    pub fn at(now: DateTime<Utc>) -> Self {
        let clock = Self::default();
        clock.set(now);
        clock
    }

    /// Sets the time, in whole seconds.
    pub fn set(&self, now: DateTime<Utc>) {
        self.seconds.store(now.timestamp(), Ordering::Relaxed);
    }
}

impl Clock for SetClock {
    fn now(&self) -> DateTime<Utc> {
        DateTime::from_timestamp(self.seconds.load(Ordering::Relaxed), 0).unwrap_or_default()
    }
}

/// The first instant of a civil day at or after a local time. A time that the clocks skip becomes
/// the first one after the jump; of a time that comes twice the earlier one is taken.
#[must_use]
pub fn at_local(zone: Tz, day: NaiveDate, time: NaiveTime) -> DateTime<Utc> {
    let wanted = day.and_time(time);
    let quarter_hours = (0..=96).map(|step| wanted + chrono::TimeDelta::minutes(15 * step));
    quarter_hours
        .filter_map(|local| zone.from_local_datetime(&local).earliest())
        .next()
        .map_or_else(|| wanted.and_utc(), |instant| instant.with_timezone(&Utc))
}

/// The civil day of an instant in a zone.
#[must_use]
pub fn day_in(zone: Tz, now: DateTime<Utc>) -> NaiveDate {
    now.with_timezone(&zone).date_naive()
}

/// The civil day before.
#[must_use]
pub fn day_before(day: NaiveDate) -> NaiveDate {
    day.checked_sub_days(Days::new(1)).unwrap_or(NaiveDate::MIN)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn time(hour: u32, minute: u32) -> NaiveTime {
        NaiveTime::from_hms_opt(hour, minute, 0).unwrap()
    }

    fn day(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn six_in_the_morning_is_six_on_both_days_of_a_time_change() {
        let zone = chrono_tz::America::Los_Angeles;
        for (date, utc_hour) in [
            (day(2022, 3, 13), 13),
            (day(2022, 3, 12), 14),
            (day(2022, 11, 6), 14),
        ] {
            let instant = at_local(zone, date, time(6, 0));
            assert_eq!(instant.naive_utc(), date.and_time(time(utc_hour, 0)));
        }
    }

    #[test]
    fn a_skipped_time_becomes_the_first_after_it_and_a_doubled_one_the_earlier() {
        let zone = chrono_tz::America::Los_Angeles;
        let skipped = at_local(zone, day(2022, 3, 13), time(2, 30));
        assert_eq!(skipped.naive_utc(), day(2022, 3, 13).and_time(time(10, 0)));
        let doubled = at_local(zone, day(2022, 11, 6), time(1, 30));
        assert_eq!(doubled.naive_utc(), day(2022, 11, 6).and_time(time(8, 30)));
    }

    #[test]
    fn no_zone_and_no_day_panics() {
        for zone in chrono_tz::TZ_VARIANTS {
            let mut date = day(2000, 1, 1);
            while date < day(2051, 1, 1) {
                let instant = at_local(zone, date, time(0, 0));
                assert!(
                    (instant.naive_utc() - date.and_time(time(0, 0)))
                        .num_hours()
                        .abs()
                        <= 40
                );
                date = date + Days::new(7);
            }
        }
    }
}
