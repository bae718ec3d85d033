//! The only place that reads the time. Everything else is handed an instant.

mod kernel;
mod steady;

use std::fmt::Debug;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use rustix::time::{ClockId, clock_gettime};

pub use steady::SteadyClock;

/// Clocks that are so near to each other say the same.
pub const SLACK: TimeDelta = TimeDelta::minutes(10);

/// Tells the time.
pub trait Clock: Debug + Send + Sync {
    /// The present instant.
    fn now(&self) -> DateTime<Utc>;

    /// How long the machine has been up, sleep included. It goes on evenly whatever the clock is set to.
    fn uptime(&self) -> TimeDelta {
        self.now() - DateTime::UNIX_EPOCH
    }

    /// When a time service of the network last set the clock, by that very clock; `None` where none is known.
    fn set_by_network(&self) -> Option<DateTime<Utc>> {
        None
    }

    /// It cannot be earlier than this.
    fn earliest(&self) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH
    }
}

/// The machine's clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

/// No program with this code was built before this instant, in seconds since 1970. A build that is told its own
/// instant (`SOURCE_DATE_EPOCH`) knows better.
const WRITTEN: i64 = 1_793_491_200;
const BUILT: Option<&str> = option_env!("SOURCE_DATE_EPOCH");
/// The time service of systemd touches this file whenever it has set the clock: for systems that do not let us ask the
/// kernel.
const SET_BY_NETWORK: &str = "/run/systemd/timesync/synchronized";

impl Clock for SystemClock {
    #[expect(
        clippy::disallowed_methods,
        reason = "the one place that reads the time"
    )]
    fn now(&self) -> DateTime<Utc> {
        Utc::now()
    }

    fn uptime(&self) -> TimeDelta {
        let up = clock_gettime(ClockId::Boottime);
        TimeDelta::seconds(up.tv_sec) + TimeDelta::nanoseconds(up.tv_nsec)
    }

    fn set_by_network(&self) -> Option<DateTime<Utc>> {
        if kernel::is_kept() {
            return Some(self.now());
        }
        let touched = std::fs::metadata(SET_BY_NETWORK).ok()?.modified().ok()?;
        Some(touched.into())
    }

    fn earliest(&self) -> DateTime<Utc> {
        let built = BUILT.and_then(|seconds| seconds.parse().ok());
        DateTime::from_timestamp(built.unwrap_or(WRITTEN), 0).unwrap_or_default()
    }
}

/// The machine's clock, to hand on.
#[must_use]
pub fn system() -> Arc<dyn Clock> {
    Arc::new(SystemClock)
}

/// A clock that somebody sets, for replays and tests.
#[derive(Debug, Default)]
pub struct SetClock {
    seconds: AtomicI64,
    /// What somebody made it wrong by.
    wrong_by: AtomicI64,
    /// When its machine came up.
    came_up: AtomicI64,
}

impl SetClock {
    /// A clock that is set to a time, in whole seconds.
    #[must_use]
    pub fn at(now: DateTime<Utc>) -> Self {
        let clock = Self::default();
        clock.set(now);
        clock
    }

    /// Lets time pass up to an instant, in whole seconds. The clock is right then.
    pub fn set(&self, now: DateTime<Utc>) {
        self.seconds.store(now.timestamp(), Ordering::Relaxed);
        self.wrong_by.store(0, Ordering::Relaxed);
    }

    /// Makes the clock wrong by so much, without any time passing.
    pub fn make_wrong_by(&self, error: TimeDelta) {
        self.wrong_by.store(error.num_seconds(), Ordering::Relaxed);
    }

    /// Lets time pass up to an instant, and the clock stay as wrong as it is.
    pub fn pass_to(&self, now: DateTime<Utc>) {
        self.seconds.store(now.timestamp(), Ordering::Relaxed);
    }

    /// Its machine comes up anew, and has been up for nothing.
    pub fn start_anew(&self) {
        let now = self.seconds.load(Ordering::Relaxed);
        self.came_up.store(now, Ordering::Relaxed);
    }

    /// What a right clock says.
    #[must_use]
    pub fn truth(&self) -> DateTime<Utc> {
        DateTime::from_timestamp(self.seconds.load(Ordering::Relaxed), 0).unwrap_or_default()
    }
}

impl Clock for SetClock {
    fn now(&self) -> DateTime<Utc> {
        self.truth() + TimeDelta::seconds(self.wrong_by.load(Ordering::Relaxed))
    }

    fn uptime(&self) -> TimeDelta {
        let came_up = TimeDelta::seconds(self.came_up.load(Ordering::Relaxed));
        self.truth() - DateTime::UNIX_EPOCH - came_up
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
