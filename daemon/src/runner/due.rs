//! What is due, decided from the store and the time alone.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rusqlite::Connection;

use crate::config::Config;
use crate::store::StoreError;
use crate::store::jobs::{self, Job, Run, RunState};

/// The fetch begins so long before the digest.
const FETCH_LEAD: TimeDelta = TimeDelta::hours(2);
/// The digest waits so long for a fetch that has not ended.
const FETCH_GRACE: TimeDelta = TimeDelta::minutes(30);
/// The late fetch begins so long after the digest, when stragglers of the night have come in.
const LATE_FETCH_LAG: TimeDelta = TimeDelta::hours(5);
/// A job that failed is begun again at most so often a day.
const MOST_ATTEMPTS: u32 = 12;
/// The longest pause between attempts.
const LONGEST_PAUSE: TimeDelta = TimeDelta::hours(1);

/// The state that decides what is due.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Standing {
    /// Today's fetch.
    pub fetch: Option<Run>,
    /// Today's late fetch.
    pub fetch_late: Option<Run>,
    /// Today's telling.
    pub tell: Option<Run>,
}

impl Standing {
    /// Reads the state for one civil day.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub fn read(connection: &Connection, day: NaiveDate) -> Result<Self, StoreError> {
        Ok(Self {
            fetch: jobs::run(connection, Job::Fetch, day)?,
            fetch_late: jobs::run(connection, Job::FetchLate, day)?,
            tell: jobs::run(connection, Job::Tell, day)?,
        })
    }
}

/// The jobs owed for the civil day of `now`. Only today is ever owed: a gap of many days ends in
/// one recompute and one digest.
#[must_use]
pub fn due(config: &Config, standing: &Standing, now: DateTime<Utc>) -> Vec<Job> {
    let digest = config.digest_instant(config.day_of(now));
    let mut jobs = Vec::new();
    if now >= digest - FETCH_LEAD && owed(standing.fetch.as_ref(), now) {
        jobs.push(Job::Fetch);
    }
    if now >= digest + LATE_FETCH_LAG && owed(standing.fetch_late.as_ref(), now) {
        jobs.push(Job::FetchLate);
    }
    let ended = |run: &Run| run.state != RunState::Running;
    let fetched = standing.fetch.as_ref().is_some_and(ended);
    let waited = standing
        .fetch
        .as_ref()
        .is_some_and(|run| now >= digest.max(run.started) + FETCH_GRACE);
    if now >= digest && (fetched || waited) && owed(standing.tell.as_ref(), now) {
        jobs.push(Job::Tell);
    }
    jobs
}

/// Whether a job must be begun: never tried, or failed long enough ago. One that says it is running
/// belongs to this process, or died with an earlier one; the caller knows which.
fn owed(run: Option<&Run>, now: DateTime<Utc>) -> bool {
    match run {
        None => true,
        Some(run) => match run.state {
            RunState::Done => false,
            RunState::Running => true,
            RunState::Failed => {
                run.attempts < MOST_ATTEMPTS && now >= run.started + pause(run.attempts)
            }
        },
    }
}

/// 2, 4, 8, … minutes.
fn pause(attempts: u32) -> TimeDelta {
    TimeDelta::minutes(1 << attempts.min(10)).min(LONGEST_PAUSE)
}
