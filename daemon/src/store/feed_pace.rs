//! How often feeds were asked in vain, and which hosts asked to be left alone.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rusqlite::{Connection, OptionalExtension, params};

use super::jobs::Job;
use super::{StoreError, instant};

/// No host is left alone for longer, whatever it asks for.
const LONGEST_WAIT: TimeDelta = TimeDelta::days(1);

/// How many requests to a feed were in vain in one window of fetching.
///
/// # Errors
/// A failing statement.
pub fn in_vain(
    connection: &Connection,
    feed: &str,
    (job, day): (Job, NaiveDate),
) -> Result<u32, StoreError> {
    let count = connection
        .prepare_cached("SELECT in_vain FROM feed_tries WHERE feed = ?1 AND job = ?2 AND day = ?3")?
        .query_row(params![feed, job.name(), day.to_string()], |row| row.get(0))
        .optional()?;
    Ok(count.unwrap_or(0))
}

/// Notes how many requests to a feed were in vain in a window.
///
/// # Errors
/// A failing statement.
pub fn set_in_vain(
    connection: &Connection,
    feed: &str,
    (job, day): (Job, NaiveDate),
    in_vain: u32,
) -> Result<(), StoreError> {
    connection
        .prepare_cached("INSERT OR REPLACE INTO feed_tries VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![feed, job.name(), day.to_string(), in_vain])?;
    Ok(())
}

/// Forgets what was in vain, since somebody asks by hand.
///
/// # Errors
/// A failing statement.
pub fn begin_anew(connection: &Connection) -> Result<(), StoreError> {
    connection.execute("DELETE FROM feed_tries", [])?;
    Ok(())
}

/// Notes that a host asked to be left alone for so long, a day at most.
///
/// # Errors
/// A failing statement.
pub fn wait(
    connection: &Connection,
    host: &str,
    now: DateTime<Utc>,
    asked: TimeDelta,
) -> Result<(), StoreError> {
    let until = now + asked.min(LONGEST_WAIT);
    connection
        .prepare_cached("INSERT OR REPLACE INTO feed_wait VALUES (?1, ?2, ?3)")?
        .execute(params![host, now.timestamp(), until.timestamp()])?;
    Ok(())
}

/// Until when a host is to be left alone. What was asked under a clock that was ahead binds nobody.
///
/// # Errors
/// A failing statement.
pub fn waits_until(
    connection: &Connection,
    host: &str,
    now: DateTime<Utc>,
) -> Result<Option<DateTime<Utc>>, StoreError> {
    let until: Option<i64> = connection
        .prepare_cached(
            "SELECT until FROM feed_wait WHERE host = ?1 AND asked_at <= ?2 AND until > ?2",
        )?
        .query_row(params![host, now.timestamp()], |row| row.get(0))
        .optional()?;
    until.map(instant).transpose()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_host_is_left_alone_as_long_as_it_asked_and_a_day_at_most() {
        let dir = tempfile::tempdir().unwrap();
        let store = crate::store::sample::records(dir.path());
        let now = DateTime::from_timestamp(1_650_000_000, 0).unwrap();
        let until = |at| waits_until(&store, "data.example.org", at).unwrap();
        assert_eq!(until(now), None);
        let hour = TimeDelta::hours(1);
        wait(&store, "data.example.org", now, hour).unwrap();
        assert_eq!(until(now), Some(now + hour));
        assert_eq!(until(now + hour), None, "it is over");
        assert_eq!(until(now - hour), None, "asked by a clock that was ahead");
        assert_eq!(waits_until(&store, "other.example.org", now).unwrap(), None);
        wait(&store, "data.example.org", now, TimeDelta::MAX).unwrap();
        assert_eq!(until(now), Some(now + TimeDelta::days(1)));
    }
}
