//! Answers of feeds that were odd as a whole, kept aside until somebody decides.

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use duskflight_core::weather::ReceivedDay;
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::{StoreError, day, instant};

/// An answer of which no day is stored.
#[derive(Debug, Clone, PartialEq)]
pub struct AnswerAside {
    /// The station's id.
    pub station: String,
    /// First civil day asked for.
    pub from: NaiveDate,
    /// Last civil day asked for.
    pub to: NaiveDate,
    /// What kind of odd it is, in one word.
    pub oddity: String,
    /// What is odd, in words.
    pub reason: String,
    /// The feed it came from.
    pub feed: String,
    /// When the first such answer came.
    pub since: DateTime<Utc>,
    /// When the newest came.
    pub at: DateTime<Utc>,
    /// Its days; `None` once it was thrown away, so that it is asked about no more.
    pub days: Option<Vec<ReceivedDay>>,
}

impl AnswerAside {
    /// What is odd about it and what became of it, as the log of fetches has it.
    #[must_use]
    pub fn words(&self) -> String {
        let became = match self.days {
            Some(_) => "kept aside",
            None => "thrown away",
        };
        format!("{}; {became}", self.reason)
    }
}

/// Keeps an answer aside, in place of an earlier one of the same station and year. One that is odd in the same way
/// is the same question, and one that was thrown away before is thrown away again; gives what is kept.
///
/// # Errors
/// A failing statement.
pub fn keep(connection: &Connection, answer: AnswerAside) -> Result<AnswerAside, StoreError> {
    let before = one(connection, &answer.station, answer.to.year())?;
    let kept = match before.filter(|before| before.oddity == answer.oddity) {
        Some(before) => AnswerAside {
            since: before.since,
            days: before.days.and(answer.days),
            ..answer
        },
        None => answer,
    };
    let days = kept
        .days
        .as_ref()
        .map(|days| serde_json::json!(days).to_string());
    connection
        .prepare_cached(
            "INSERT OR REPLACE INTO answer_aside VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        )?
        .execute(params![
            kept.station,
            kept.to.year(),
            kept.from.to_string(),
            kept.to.to_string(),
            kept.oddity,
            kept.reason,
            kept.feed,
            kept.since.timestamp(),
            kept.at.timestamp(),
            days,
        ])?;
    Ok(kept)
}

/// All answers kept aside, those thrown away too, by station and year.
///
/// # Errors
/// A failing statement.
pub fn all(connection: &Connection) -> Result<Vec<AnswerAside>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM answer_aside ORDER BY station, year");
    let mut statement = connection.prepare_cached(&sql)?;
    let rows = statement.query_map([], |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

/// The answers of a station that wait for a decision, the oldest days first.
///
/// # Errors
/// A failing statement.
pub fn waiting(connection: &Connection, station: &str) -> Result<Vec<AnswerAside>, StoreError> {
    let mut answers = all(connection)?;
    answers.retain(|answer| answer.station == station && answer.days.is_some());
    Ok(answers)
}

/// Throws away the answers of a station that wait, and gives how many. While the feed answers the same, it is
/// not asked about again.
///
/// # Errors
/// A failing statement.
pub fn throw_away(connection: &Connection, station: &str) -> Result<usize, StoreError> {
    let sql = "UPDATE answer_aside SET days = NULL WHERE station = ?1 AND days IS NOT NULL";
    Ok(connection.execute(sql, [station])?)
}

/// Forgets what was kept aside of a station's year: it was taken, or the feed answers well again.
///
/// # Errors
/// A failing statement.
pub fn forget(connection: &Connection, station: &str, to: NaiveDate) -> Result<(), StoreError> {
    connection
        .prepare_cached("DELETE FROM answer_aside WHERE station = ?1 AND year = ?2")?
        .execute(params![station, to.year()])?;
    Ok(())
}

/// Forgets answers that have not come again since an instant.
///
/// # Errors
/// A failing statement.
pub fn prune(connection: &Connection, before: DateTime<Utc>) -> Result<usize, StoreError> {
    Ok(connection.execute(
        "DELETE FROM answer_aside WHERE at < ?1",
        [before.timestamp()],
    )?)
}

const COLUMNS: &str = "station, from_day, to_day, oddity, reason, feed, since, at, days";

fn one(
    connection: &Connection,
    station: &str,
    year: i32,
) -> Result<Option<AnswerAside>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM answer_aside WHERE station = ?1 AND year = ?2");
    let mut statement = connection.prepare_cached(&sql)?;
    let row = statement.query_row(params![station, year], |row| Ok(read(row)));
    row.optional()?.transpose()
}

fn read(row: &Row<'_>) -> Result<AnswerAside, StoreError> {
    let days: Option<String> = row.get(8)?;
    let days = days.map(|json| {
        serde_json::from_str(&json).map_err(|error| StoreError::Value {
            column: "days",
            value: error.to_string(),
        })
    });
    Ok(AnswerAside {
        station: row.get(0)?,
        from: day(&row.get::<_, String>(1)?)?,
        to: day(&row.get::<_, String>(2)?)?,
        oddity: row.get(3)?,
        reason: row.get(4)?,
        feed: row.get(5)?,
        since: instant(row.get(6)?)?,
        at: instant(row.get(7)?)?,
        days: days.transpose()?,
    })
}
