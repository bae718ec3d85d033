//! Runs of jobs by civil day: what is owed and what is done.

use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::{StoreError, day, instant};

/// A job that runs once a civil day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Job {
    /// Fetch all stations before the digest.
    Fetch,
    /// Fetch them once more late in the morning.
    FetchLate,
    /// Recompute and tell.
    Tell,
    /// Tell an outside watcher that all of it worked.
    Heartbeat,
}

impl Job {
    /// The jobs that every farm has.
    pub const ALL: [Self; 3] = [Self::Fetch, Self::FetchLate, Self::Tell];

    /// The word in the database and in `status`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fetch => "fetch",
            Self::FetchLate => "fetch-late",
            Self::Tell => "tell",
            Self::Heartbeat => "heartbeat",
        }
    }
}

/// How a run ended, or that it has not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RunState {
    /// Begun and not finished; after a restart that means it never will.
    Running,
    /// Done.
    Done,
    /// Failed.
    Failed,
}

/// The last run of a job for one civil day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    /// The civil day.
    pub day: NaiveDate,
    /// How it ended.
    pub state: RunState,
    /// How often it was begun.
    pub attempts: u32,
    /// When it was begun first.
    pub first: DateTime<Utc>,
    /// When it was begun last.
    pub started: DateTime<Utc>,
    /// When it ended.
    pub finished: Option<DateTime<Utc>>,
    /// Why it failed.
    pub error: Option<String>,
}

const COLUMNS: &str = "day, state, attempts, first_at, started_at, finished_at, error";

/// The run of a job for a civil day.
///
/// # Errors
/// A failing statement.
pub fn run(connection: &Connection, job: Job, on: NaiveDate) -> Result<Option<Run>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM job_run WHERE job = ?1 AND day = ?2");
    connection
        .prepare_cached(&sql)?
        .query_row(params![job.name(), on.to_string()], |row| Ok(read(row)))
        .optional()?
        .transpose()
}

/// The run of a job for the newest day, optionally only a completed one.
///
/// # Errors
/// A failing statement.
pub fn newest(connection: &Connection, job: Job, done: bool) -> Result<Option<Run>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM job_run WHERE job = ?1 AND (state = 'done' OR NOT ?2)
         ORDER BY day DESC LIMIT 1"
    );
    connection
        .prepare_cached(&sql)?
        .query_row(params![job.name(), done], |row| Ok(read(row)))
        .optional()?
        .transpose()
}

/// The newest civil day before another for which a job was done.
///
/// # Errors
/// A failing statement.
pub fn done_before(
    connection: &Connection,
    job: Job,
    before: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let newest: Option<String> = connection
        .prepare_cached(
            "SELECT max(day) FROM job_run WHERE job = ?1 AND day < ?2 AND state = 'done'",
        )?
        .query_row(params![job.name(), before.to_string()], |row| row.get(0))?;
    newest.map(|text| day(&text)).transpose()
}

fn read(row: &Row<'_>) -> Result<Run, StoreError> {
    let state: String = row.get(1)?;
    let finished: Option<i64> = row.get(5)?;
    Ok(Run {
        day: day(row.get_ref(0)?.as_str().map_err(rusqlite::Error::from)?)?,
        state: match state.as_str() {
            "running" => RunState::Running,
            "done" => RunState::Done,
            _ => RunState::Failed,
        },
        attempts: row.get(2)?,
        first: instant(row.get(3)?)?,
        started: instant(row.get(4)?)?,
        finished: finished.map(instant).transpose()?,
        error: row.get(6)?,
    })
}

/// Notes that a run begins.
///
/// # Errors
/// A failing statement.
pub fn begin(
    connection: &Connection,
    job: Job,
    on: NaiveDate,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "INSERT INTO job_run VALUES (?1, ?2, 'running', 1, ?3, ?3, NULL, NULL)
             ON CONFLICT (job, day) DO UPDATE SET state = 'running', attempts = attempts + 1,
               started_at = ?3, finished_at = NULL, error = NULL",
        )?
        .execute(params![job.name(), on.to_string(), at.timestamp()])?;
    Ok(())
}

/// Notes how a run ended.
///
/// # Errors
/// A failing statement.
pub fn finish(
    connection: &Connection,
    job: Job,
    on: NaiveDate,
    at: DateTime<Utc>,
    error: Option<&str>,
) -> Result<(), StoreError> {
    let state = if error.is_none() { "done" } else { "failed" };
    connection
        .prepare_cached(
            "UPDATE job_run SET state = ?3, finished_at = ?4, error = ?5 WHERE job = ?1 AND day = ?2",
        )?
        .execute(params![job.name(), on.to_string(), state, at.timestamp(), error])?;
    Ok(())
}
