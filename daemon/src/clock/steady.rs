//! A clock that goes on evenly from when the machine's was last believed.

use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, TimeDelta, Utc};

use super::Clock;

/// Tells the time from the last instant that was believed and the time the machine was up since: whatever the
/// machine's clock is set to between two looks at it, what comes in then is dated right.
#[derive(Debug)]
pub struct SteadyClock {
    machine: Arc<dyn Clock>,
    /// When the machine had been up for nothing, as far as is believed.
    began: Mutex<DateTime<Utc>>,
}

impl SteadyClock {
    /// Goes on from what the machine's clock says now.
    #[must_use]
    pub fn from_now(machine: Arc<dyn Clock>) -> Self {
        let now = machine.now();
        Self::from(machine, now)
    }

    /// Goes on from an instant by a machine's uptime.
    #[must_use]
    pub fn from(machine: Arc<dyn Clock>, now: DateTime<Utc>) -> Self {
        let began = Mutex::new(now - machine.uptime());
        Self { machine, began }
    }

    /// Goes on from an instant that is believed.
    pub fn go_on_from(&self, now: DateTime<Utc>) {
        *self.began.lock().unwrap_or_else(PoisonError::into_inner) = now - self.machine.uptime();
    }

    /// The clock it goes on from.
    #[must_use]
    pub fn machine(&self) -> &Arc<dyn Clock> {
        &self.machine
    }
}

impl Clock for SteadyClock {
    fn now(&self) -> DateTime<Utc> {
        *self.began.lock().unwrap_or_else(PoisonError::into_inner) + self.machine.uptime()
    }

    fn uptime(&self) -> TimeDelta {
        self.machine.uptime()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::SetClock;

    #[test]
    fn a_clock_that_is_set_wrong_between_two_looks_dates_nothing_wrong() {
        let start = DateTime::from_timestamp(1_655_730_000, 0).unwrap();
        let machine = Arc::new(SetClock::at(start));
        let steady = SteadyClock::from_now(Arc::clone(&machine) as Arc<dyn Clock>);
        machine.make_wrong_by(TimeDelta::days(3650));
        machine.pass_to(start + TimeDelta::seconds(35));
        assert_eq!(steady.now(), start + TimeDelta::seconds(35));
        steady.go_on_from(start + TimeDelta::hours(1));
        machine.pass_to(start + TimeDelta::seconds(45));
        assert_eq!(
            steady.now(),
            start + TimeDelta::hours(1) + TimeDelta::seconds(10)
        );
    }
}
