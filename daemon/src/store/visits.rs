//! Trap visits and their history.

use std::collections::BTreeSet;
use std::ops::Range;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::TrapId;
use duskflight_core::orchard::Part;
use duskflight_core::trapping::Visit;
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::{StoreError, day};

/// Who entered a record, when and how.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The instant.
    pub at: DateTime<Utc>,
    /// The person, as typed.
    pub by: String,
    /// The way in.
    pub via: String,
    /// One entry; the same entry is never applied twice.
    pub id: String,
}

/// What applying an entry did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Applied {
    /// It was new.
    Added,
    /// It replaced an older entry, which is in the history now.
    Changed,
    /// It was there already.
    Unchanged,
    /// It was applied once and a later entry has replaced it since; that one stands.
    Superseded,
}

/// Applies one visit.
///
/// # Errors
/// A failing statement.
pub fn apply(connection: &Connection, visit: &Visit, entry: &Entry) -> Result<Applied, StoreError> {
    let stored = one(connection, &visit.trap, visit.date)?;
    if stored.as_ref() == Some(visit) {
        return Ok(Applied::Unchanged);
    }
    if entered_before(connection, "visit_history", &entry.id)? {
        return Ok(Applied::Superseded);
    }
    if stored.is_some() {
        connection
            .prepare_cached(&format!(
                "INSERT INTO visit_history ({ALL}, replaced_at) SELECT {ALL}, ?3 FROM visit
                 WHERE trap = ?1 AND day = ?2"
            ))?
            .execute(params![
                visit.trap.as_str(),
                visit.date.to_string(),
                entry.at.timestamp()
            ])?;
    }
    let serviced: Vec<&str> = visit.serviced.iter().map(|part| part.name()).collect();
    connection
        .prepare_cached(&format!(
            "INSERT OR REPLACE INTO visit ({ALL})
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)"
        ))?
        .execute(params![
            visit.trap.as_str(),
            visit.date.to_string(),
            visit.eggs,
            visit.moths,
            visit.males,
            visit.females,
            visit.readable,
            serviced.join(" "),
            visit.note,
            visit.eggs_left,
            entry.at.timestamp(),
            entry.by,
            entry.via,
            entry.id,
        ])?;
    Ok(if stored.is_some() {
        Applied::Changed
    } else {
        Applied::Added
    })
}

/// Whether an entry was applied once and has been replaced since.
pub(super) fn entered_before(
    connection: &Connection,
    history: &str,
    entry_id: &str,
) -> Result<bool, StoreError> {
    let sql = format!("SELECT EXISTS (SELECT 1 FROM {history} WHERE entry_id = ?1)");
    Ok(connection
        .prepare_cached(&sql)?
        .query_row([entry_id], |row| row.get(0))?)
}

const COLUMNS: &str = "trap, day, eggs, moths, males, females, readable, serviced, note, eggs_left";
/// The columns of a record with those of its entry.
const ALL: &str = "trap, day, eggs, moths, males, females, readable, serviced, note, eggs_left, \
                   entered_at, entered_by, via, entry_id";

fn one(
    connection: &Connection,
    trap: &TrapId,
    date: NaiveDate,
) -> Result<Option<Visit>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM visit WHERE trap = ?1 AND day = ?2");
    connection
        .prepare_cached(&sql)?
        .query_row(params![trap.as_str(), date.to_string()], |row| {
            Ok(read(row, None))
        })
        .optional()?
        .transpose()
}

/// A row of the columns; its trap is mostly that of the row before.
fn read(row: &Row<'_>, before: Option<&Visit>) -> Result<Visit, StoreError> {
    let text = |column| row.get_ref(column)?.as_str().map_err(rusqlite::Error::from);
    let serviced = text(7)?;
    let parts: Option<BTreeSet<Part>> = serviced.split_whitespace().map(Part::from_name).collect();
    let trap = text(0)?;
    let same = before.filter(|visit| visit.trap.as_str() == trap);
    Ok(Visit {
        trap: same.map_or_else(|| trap_id(trap), |visit| Ok(visit.trap.clone()))?,
        date: day(text(1)?)?,
        eggs: row.get(2)?,
        moths: row.get(3)?,
        males: row.get(4)?,
        females: row.get(5)?,
        readable: row.get(6)?,
        serviced: parts.ok_or_else(|| StoreError::Value {
            column: "serviced",
            value: serviced.to_owned(),
        })?,
        note: row.get(8)?,
        eggs_left: row.get(9)?,
    })
}

/// All visits up to and including a civil day, by trap and day.
///
/// # Errors
/// A failing statement.
pub fn up_to(connection: &Connection, as_of: NaiveDate) -> Result<Vec<Visit>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM visit WHERE day <= ?1 ORDER BY trap, day");
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query([as_of.to_string()])?;
    let mut visits = Vec::new();
    while let Some(row) = rows.next()? {
        visits.push(read(row, visits.last())?);
    }
    Ok(visits)
}

/// Visits made before a day but entered or changed in a later stretch of time: trap and day.
///
/// # Errors
/// A failing statement.
pub fn entered_late(
    connection: &Connection,
    when: Range<DateTime<Utc>>,
    made_before: NaiveDate,
) -> Result<Vec<(TrapId, NaiveDate)>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT trap, day FROM visit WHERE entered_at >= ?1 AND entered_at < ?2 AND day < ?3
         ORDER BY day, trap",
    )?;
    let when = params![
        when.start.timestamp(),
        when.end.timestamp(),
        made_before.to_string()
    ];
    let rows = statement.query_map(when, |row| {
        Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?))
    })?;
    rows.map(|row| {
        let (trap, date) = row?;
        Ok((trap_id(&trap)?, day(&date)?))
    })
    .collect()
}

fn trap_id(text: &str) -> Result<TrapId, StoreError> {
    TrapId::new(text).map_err(|_| StoreError::Value {
        column: "trap",
        value: text.to_owned(),
    })
}
