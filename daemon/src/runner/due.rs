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
/// The fetch ends so long before the digest,
const FETCH_MARGIN: TimeDelta = TimeDelta::minutes(10);
/// but has so long where it began late.
const FETCH_AT_LEAST: TimeDelta = TimeDelta::minutes(20);
/// The late fetch begins so long after the digest, when stragglers of the night have come in.
const LATE_FETCH_LAG: TimeDelta = TimeDelta::hours(5);
/// A job that is not done is begun at most so often a day.
const MOST_ATTEMPTS: u32 = 12;
/// The longest pause between attempts.
const LONGEST_PAUSE: TimeDelta = TimeDelta::hours(1);

/// The runs of a civil day, which decide what is due.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct DayRuns {
    /// Today's fetch.
    pub fetch: Option<Run>,
    /// Today's late fetch.
    pub fetch_late: Option<Run>,
    /// Today's telling.
    pub tell: Option<Run>,
}

impl DayRuns {
    /// Reads those of one civil day.
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
pub fn due(config: &Config, runs: &DayRuns, now: DateTime<Utc>) -> Vec<Job> {
    let digest = config.digest_instant(config.day_of(now));
    let mut jobs = Vec::new();
    let in_time = fetch_deadline(config, runs, now).is_none_or(|until| now < until);
    if now >= digest - FETCH_LEAD && in_time && owed(runs.fetch.as_ref(), now) {
        jobs.push(Job::Fetch);
    }
    if now >= digest + LATE_FETCH_LAG && owed(runs.fetch_late.as_ref(), now) {
        jobs.push(Job::FetchLate);
    }
    let ended = |run: &Run| run.state != RunState::Running;
    let fetched = runs.fetch.as_ref().is_some_and(ended);
    let waited = runs
        .fetch
        .as_ref()
        .is_some_and(|run| now >= digest.max(run.first) + FETCH_GRACE);
    if now >= digest && (fetched || waited) && owed(runs.tell.as_ref(), now) {
        jobs.push(Job::Tell);
    }
    jobs
}

/// When today's fetch ends, so that the digest leaves with what is there; what is late is fetched once it is told, or once
/// something else holds the digest up.
#[must_use]
pub fn fetch_deadline(
    config: &Config,
    runs: &DayRuns,
    now: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    let digest = config.digest_instant(config.day_of(now));
    let first = runs.fetch.as_ref().map_or(now, |run| run.first);
    let until = (digest - FETCH_MARGIN).max(first + FETCH_AT_LEAST);
    let is_awaited = runs.tell.is_none() && now < digest.max(first) + FETCH_GRACE;
    is_awaited.then_some(until)
}

/// Whether a job must be begun: never tried, or not done and tried long enough ago. One that says it
/// is running belongs to this process, which then has no free task for it, or died with another.
pub(super) fn owed(run: Option<&Run>, now: DateTime<Utc>) -> bool {
    match run {
        None => true,
        Some(run) if run.state == RunState::Done => false,
        Some(run) => run.attempts < MOST_ATTEMPTS && now >= run.started + pause(run.attempts),
    }
}

/// 2, 4, 8, … minutes.
fn pause(attempts: u32) -> TimeDelta {
    TimeDelta::minutes(1 << attempts.min(10)).min(LONGEST_PAUSE)
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    /// The minimal sample, with its zone replaced.
    fn config_in(zone: chrono_tz::Tz) -> Config {
        let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/minimal");
        let mut config = Config::read(&samples).unwrap();
        config.zone = zone;
        config
    }

    fn run(day: NaiveDate, state: RunState, attempts: u32, started: DateTime<Utc>) -> Run {
        Run {
            day,
            state,
            attempts,
            first: started,
            started,
            finished: None,
            error: None,
        }
    }

    /// Steps a clock minute by minute and does at once whatever is due.
    fn play(config: &Config, from: DateTime<Utc>, minutes: i64) -> Vec<(Job, DateTime<Utc>)> {
        let mut done = Vec::new();
        let mut runs = (config.day_of(from), DayRuns::default());
        for minute in 0..minutes {
            let now = from + TimeDelta::minutes(minute);
            let day = config.day_of(now);
            if runs.0 != day {
                runs = (day, DayRuns::default());
            }
            for job in due(config, &runs.1, now) {
                done.push((job, now));
                let ended = Some(run(day, RunState::Done, 1, now));
                match job {
                    Job::Fetch => runs.1.fetch = ended,
                    Job::FetchLate => runs.1.fetch_late = ended,
                    Job::Tell => runs.1.tell = ended,
                    Job::Heartbeat => unreachable!("it follows delivery"),
                }
            }
        }
        done
    }

    #[test]
    fn the_digest_goes_out_at_six_by_the_wall_clock_once_on_every_day_of_a_time_change() {
        for (zone, spring, autumn) in [
            (chrono_tz::America::Los_Angeles, (3, 13), (11, 6)),
            (chrono_tz::Europe::Madrid, (3, 27), (10, 30)),
            (chrono_tz::Australia::Adelaide, (10, 2), (4, 3)),
        ] {
            let config = config_in(zone);
            for (month, day) in [spring, autumn] {
                let before = NaiveDate::from_ymd_opt(2022, month, day)
                    .unwrap()
                    .pred_opt()
                    .unwrap();
                let from = config.digest_instant(before) - TimeDelta::hours(5);
                let told: Vec<String> = play(&config, from, 3 * 24 * 60)
                    .into_iter()
                    .filter(|(job, _)| *job == Job::Tell)
                    .map(|(_, at)| at.with_timezone(&zone).format("%H:%M").to_string())
                    .collect();
                assert_eq!(told, ["06:00"; 3], "{zone} {month}-{day}");
            }
        }
    }

    #[test]
    fn a_start_late_in_the_morning_fetches_and_then_tells_once() {
        let config = config_in(chrono_tz::America::Los_Angeles);
        let day = NaiveDate::from_ymd_opt(2022, 6, 20).unwrap();
        let start = config.digest_instant(day) + TimeDelta::minutes(200);
        let jobs: Vec<Job> = play(&config, start, 60)
            .into_iter()
            .map(|(job, _)| job)
            .collect();
        assert_eq!(jobs, [Job::Fetch, Job::Tell]);
    }

    #[test]
    fn a_fetch_that_failed_is_not_begun_again_between_its_end_and_the_telling() {
        let config = config_in(chrono_tz::America::Los_Angeles);
        let day = NaiveDate::from_ymd_opt(2022, 6, 20).unwrap();
        let digest = config.digest_instant(day);
        let failed = run(day, RunState::Failed, 1, digest - FETCH_LEAD);
        let mut runs = DayRuns {
            fetch: Some(failed),
            ..DayRuns::default()
        };
        let until = digest - FETCH_MARGIN;
        assert_eq!(fetch_deadline(&config, &runs, digest), Some(until));
        let fetches = |runs: &DayRuns, now| due(&config, runs, now).contains(&Job::Fetch);
        assert!(fetches(&runs, until - TimeDelta::minutes(1)));
        assert!(!fetches(&runs, until));
        assert!(!fetches(&runs, digest));
        // Something else holds the digest up, which a fetch may end.
        assert!(fetches(&runs, digest + FETCH_GRACE));
        assert_eq!(fetch_deadline(&config, &runs, digest + FETCH_GRACE), None);
        runs.tell = Some(run(day, RunState::Done, 1, digest));
        assert!(fetches(&runs, digest + TimeDelta::minutes(1)));
        assert_eq!(fetch_deadline(&config, &runs, digest), None);
        // One that begins late has its time all the same.
        let late = fetch_deadline(&config, &DayRuns::default(), digest);
        assert_eq!(late, Some(digest + FETCH_AT_LEAST));
    }

    #[test]
    fn telling_does_not_wait_for_ever_for_a_fetch_that_hangs() {
        let config = config_in(chrono_tz::America::Los_Angeles);
        let day = NaiveDate::from_ymd_opt(2022, 6, 20).unwrap();
        let digest = config.digest_instant(day);
        let runs = DayRuns {
            fetch: Some(run(day, RunState::Running, 1, digest - FETCH_LEAD)),
            ..DayRuns::default()
        };
        assert!(!due(&config, &runs, digest).contains(&Job::Tell));
        assert!(due(&config, &runs, digest + FETCH_GRACE).contains(&Job::Tell));
    }

    #[test]
    fn telling_does_not_wait_for_a_fetch_that_dies_again_and_again() {
        let config = config_in(chrono_tz::America::Los_Angeles);
        let day = NaiveDate::from_ymd_opt(2022, 6, 20).unwrap();
        let digest = config.digest_instant(day);
        let now = digest + FETCH_GRACE;
        let restarted_just_now = Run {
            started: now,
            ..run(day, RunState::Running, 5, digest - FETCH_LEAD)
        };
        let runs = DayRuns {
            fetch: Some(restarted_just_now),
            ..DayRuns::default()
        };
        assert_eq!(due(&config, &runs, now), [Job::Tell]);
    }

    #[test]
    fn a_failed_job_is_tried_again_with_growing_pauses_and_an_end() {
        let config = config_in(chrono_tz::America::Los_Angeles);
        let day = NaiveDate::from_ymd_opt(2022, 6, 20).unwrap();
        let started = config.digest_instant(day) - FETCH_LEAD;
        let failed = |attempts| DayRuns {
            fetch: Some(run(day, RunState::Failed, attempts, started)),
            ..DayRuns::default()
        };
        let is_due = |attempts, minutes| {
            due(
                &config,
                &failed(attempts),
                started + TimeDelta::minutes(minutes),
            )
            .contains(&Job::Fetch)
        };
        assert!(!is_due(1, 1) && is_due(1, 2));
        assert!(!is_due(3, 7) && is_due(3, 8));
        assert!(!is_due(9, 59) && is_due(9, 60));
        assert!(!is_due(12, 600));
    }
}
