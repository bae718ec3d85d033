//! Watches over the machine's clock between the steps of the loop, and hands the jobs one that goes on evenly.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use super::gate::{Doubt, Evidence, Verdict, Witness, judge};
use crate::clock::{Clock, SteadyClock};
use crate::feed::Heard;

/// A clock that went on by so much more or less than the machine was up was set.
const STEP: TimeDelta = TimeDelta::minutes(2);
/// Other clocks are asked again after 2, 4, 8, … minutes, up to this.
const LONGEST_PAUSE: TimeDelta = TimeDelta::hours(4);

/// What is known of the machine's clock since the daemon began.
#[derive(Debug)]
pub(super) struct Timekeeper {
    /// What the jobs are given: it goes on evenly from the last instant that was believed.
    steady: Arc<SteadyClock>,
    /// It was believed since the daemon began.
    was_believed: bool,
    /// What the clock said at the last look, and the uptime then.
    last: (DateTime<Utc>, TimeDelta),
    /// The uptime at which the clock was set last, as far as was seen.
    even_since: TimeDelta,
    /// How often other clocks were asked since the clock was set or believed by one of them.
    asked: u32,
    /// The uptime from which on they may be asked again.
    ask_from: TimeDelta,
}

impl Timekeeper {
    pub(super) fn new(machine: Arc<dyn Clock>) -> Self {
        let last = (machine.now(), machine.uptime());
        Self {
            steady: Arc::new(SteadyClock::from_now(machine)),
            was_believed: false,
            last,
            even_since: TimeDelta::zero(),
            asked: 0,
            ask_from: TimeDelta::zero(),
        }
    }

    /// The clock that jobs are given.
    pub(super) fn steady(&self) -> Arc<dyn Clock> {
        Arc::clone(&self.steady) as Arc<dyn Clock>
    }

    /// What the machine's clock says, whether or not it is believed. One that was set since the last look is
    /// asked about anew.
    pub(super) fn look(&mut self) -> DateTime<Utc> {
        let machine = self.steady.machine();
        let (now, uptime) = (machine.now(), machine.uptime());
        let expected = self.last.0 + (uptime - self.last.1);
        if (now - expected).abs() > STEP {
            tracing::warn!(%now, %expected, "the machine's clock was set");
            (self.even_since, self.asked, self.ask_from) = (uptime, 0, uptime);
        }
        self.last = (now, uptime);
        now
    }

    /// What is thought of an instant that the clock said.
    pub(super) fn judge(
        &self,
        now: DateTime<Utc>,
        newest_fetch: Option<DateTime<Utc>>,
        heard: &Heard,
    ) -> Verdict {
        let machine = self.steady.machine();
        let uptime = machine.uptime();
        judge(&Evidence {
            now,
            earliest: machine.earliest(),
            even_for: uptime - self.even_since,
            set_by_network: machine.set_by_network(),
            newest_fetch,
            witnesses: witnesses(heard, uptime),
        })
    }

    /// Goes on from an instant that is believed.
    pub(super) fn believe(&mut self, now: DateTime<Utc>) {
        self.steady.go_on_from(now);
        self.was_believed = true;
    }

    /// What time it probably is while the clock, which says `now`, is doubted: as another clock says, else as this one
    /// went on from when it was believed; `None` where neither is known.
    pub(super) fn probable(&self, doubt: &Doubt, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        match doubt {
            Doubt::Contradicted { by, .. } => Some(now + *by),
            _ => self.was_believed.then(|| self.steady.now()),
        }
    }

    /// Whether other clocks were asked at all since the clock was set.
    pub(super) fn has_asked(&self) -> bool {
        self.asked > 0
    }

    /// Whether other clocks are asked now: at once, then ever more seldom.
    pub(super) fn asks_now(&mut self) -> bool {
        let uptime = self.steady.uptime();
        let asks = uptime >= self.ask_from;
        if asks {
            self.asked += 1;
            let pause = TimeDelta::minutes(1 << self.asked.min(10));
            self.ask_from = uptime + pause.min(LONGEST_PAUSE);
        }
        asks
    }
}

/// What the hosts that answered would say now.
pub(super) fn witnesses(heard: &Heard, uptime: TimeDelta) -> Vec<Witness> {
    let said = heard.say_at(uptime).into_iter();
    said.map(|(who, says)| Witness { who, says }).collect()
}
