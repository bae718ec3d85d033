//! Trap visits and their history.

use std::collections::BTreeSet;
use std::ops::{Range, RangeInclusive};

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use duskflight_core::id::TrapId;
use duskflight_core::orchard::Part;
use duskflight_core::trapping::Visit;
use rusqlite::{Connection, OptionalExtension, Row, Rows, params};

use super::entries::{Applied, Entry, Past, Withdrawal};
use super::{StoreError, day, instant};

/// Applies one visit.
///
/// # Errors
/// A failing statement.
pub fn apply(connection: &Connection, visit: &Visit, entry: &Entry) -> Result<Applied, StoreError> {
    let stored = one(connection, &visit.trap, visit.date)?;
    if stored.as_ref() == Some(visit) {
        return Ok(Applied::Unchanged);
    }
    if entry.again {
        return Ok(Applied::Superseded);
    }
    if stored.is_some() {
        retire(
            connection,
            (&visit.trap, visit.date),
            entry.at,
            &entry.by,
            None,
        )?;
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

/// Takes one visit back, keeping it in the history; gives whether there was one.
///
/// # Errors
/// A failing statement.
pub fn withdraw(
    connection: &Connection,
    trap: &TrapId,
    date: NaiveDate,
    withdrawal: &Withdrawal,
) -> Result<bool, StoreError> {
    let Withdrawal { at, by, why } = withdrawal;
    retire(connection, (trap, date), *at, by, Some(why))?;
    let gone = connection
        .prepare_cached("DELETE FROM visit WHERE trap = ?1 AND day = ?2")?
        .execute(params![trap.as_str(), date.to_string()])?;
    Ok(gone > 0)
}

/// Takes one visit back, and lets the one stand again that it had replaced; gives whether there was one.
///
/// # Errors
/// A failing statement.
pub fn put_back(
    connection: &Connection,
    trap: &TrapId,
    date: NaiveDate,
    withdrawal: &Withdrawal,
) -> Result<bool, StoreError> {
    let replaced: Option<i64> = connection
        .prepare_cached(
            // What stands again after another was taken back has its first entry in the history.
            "WITH now AS (SELECT entered_at, entry_id FROM visit WHERE trap = ?1 AND day = ?2),
               past AS (SELECT rowid AS place, * FROM visit_history WHERE trap = ?1 AND day = ?2),
               first AS (SELECT min(place) AS place, min(entered_at) AS at FROM past
                         WHERE entry_id = (SELECT entry_id FROM now))
             SELECT max(old.place) FROM past AS old, now, first
             WHERE old.why IS NULL AND old.entry_id != now.entry_id
               AND old.replaced_at = coalesce(first.at, now.entered_at)
               AND (first.place IS NULL OR old.place < first.place)",
        )?
        .query_row(params![trap.as_str(), date.to_string()], |row| row.get(0))?;
    let gone = withdraw(connection, trap, date, withdrawal)?;
    if let Some(replaced) = replaced.filter(|_| gone) {
        let instead = ALL.replace("entered_at", "?2");
        let sql = format!(
            "INSERT INTO visit ({ALL}) SELECT {instead} FROM visit_history WHERE rowid = ?1"
        );
        connection
            .prepare_cached(&sql)?
            .execute([replaced, withdrawal.at.timestamp()])?;
    }
    Ok(gone)
}

/// Copies the visit that stands into the history.
fn retire(
    connection: &Connection,
    (trap, date): (&TrapId, NaiveDate),
    at: DateTime<Utc>,
    by: &str,
    why: Option<&str>,
) -> Result<(), StoreError> {
    connection
        .prepare_cached(&format!(
            "INSERT INTO visit_history ({ALL}, replaced_at, replaced_by, why)
             SELECT {ALL}, ?3, ?4, ?5 FROM visit WHERE trap = ?1 AND day = ?2"
        ))?
        .execute(params![
            trap.as_str(),
            date.to_string(),
            at.timestamp(),
            by,
            why
        ])?;
    Ok(())
}

const COLUMNS: &str = "trap, day, eggs, moths, males, females, readable, serviced, note, eggs_left";
/// The columns of a record with those of its entry.
const ALL: &str = "trap, day, eggs, moths, males, females, readable, serviced, note, eggs_left, \
                   entered_at, entered_by, via, entry_id";

/// The visit of a trap and day, with who entered it.
///
/// # Errors
/// A failing statement.
pub fn entered(
    connection: &Connection,
    trap: &TrapId,
    date: NaiveDate,
) -> Result<Option<Entered>, StoreError> {
    let Some(visit) = one(connection, trap, date)? else {
        return Ok(None);
    };
    let sql = "SELECT entered_by FROM visit WHERE trap = ?1 AND day = ?2";
    let mut statement = connection.prepare_cached(sql)?;
    let by = statement.query_row([trap.as_str(), &date.to_string()], |row| row.get(0))?;
    Ok(Some((visit, by)))
}

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

/// A visit with who entered it.
pub type Entered = (Visit, String);

/// All visits of a stretch of days with who entered them, by day and trap.
///
/// # Errors
/// A failing statement.
pub fn entered_between(
    connection: &Connection,
    days: RangeInclusive<NaiveDate>,
) -> Result<Vec<Entered>, StoreError> {
    let sql = format!("SELECT {ALL} FROM visit WHERE day BETWEEN ?1 AND ?2 ORDER BY day, trap");
    let mut statement = connection.prepare_cached(&sql)?;
    let days = [days.start().to_string(), days.end().to_string()];
    let rows = statement.query_map(days, |row| Ok((read(row, None), row.get("entered_by")?)))?;
    rows.map(|row| {
        let (visit, by) = row?;
        Ok((visit?, by))
    })
    .collect()
}

/// Visits as they stood before they were changed or withdrawn, the first replaced first; of one trap
/// where it is given.
///
/// # Errors
/// A failing statement.
pub fn history(
    connection: &Connection,
    trap: Option<&TrapId>,
) -> Result<Vec<Past<Visit>>, StoreError> {
    let sql = format!(
        "SELECT {ALL}, replaced_at, replaced_by, why FROM visit_history
         WHERE ?1 IS NULL OR trap = ?1 ORDER BY replaced_at, rowid"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let rows = statement.query_map([trap.map(TrapId::as_str)], |row| {
        Ok(read(row, None).and_then(|visit| past(row, visit)))
    })?;
    rows.map(|row| row?).collect()
}

/// The rest of a row of the history of a record.
pub(super) fn past<T>(row: &Row<'_>, record: T) -> Result<Past<T>, StoreError> {
    Ok(Past {
        record,
        entered: instant(row.get("entered_at")?)?,
        by: row.get("entered_by")?,
        via: row.get("via")?,
        replaced: instant(row.get("replaced_at")?)?,
        replaced_by: row.get("replaced_by")?,
        why: row.get("why")?,
    })
}

/// All visits up to and including a civil day, by trap and day.
///
/// # Errors
/// A failing statement.
pub fn up_to(connection: &Connection, as_of: NaiveDate) -> Result<Vec<Visit>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM visit WHERE day <= ?1 ORDER BY trap, day");
    let mut statement = connection.prepare_cached(&sql)?;
    read_all(statement.query([as_of.to_string()])?)
}

fn read_all(mut rows: Rows<'_>) -> Result<Vec<Visit>, StoreError> {
    let mut visits = Vec::new();
    while let Some(row) = rows.next()? {
        visits.push(read(row, visits.last())?);
    }
    Ok(visits)
}

/// The years of which there are visits, oldest first.
///
/// # Errors
/// A failing statement, or a day that is none.
pub fn years(connection: &Connection) -> Result<Vec<i32>, StoreError> {
    let ends: [Option<String>; 2] = connection
        .prepare_cached("SELECT min(day), max(day) FROM visit")?
        .query_row([], |row| Ok([row.get(0)?, row.get(1)?]))?;
    match ends {
        [Some(first), Some(last)] => Ok((day(&first)?.year()..=day(&last)?.year()).collect()),
        _ => Ok(Vec::new()),
    }
}

/// The visits of some traps up to a day, sorted by trap and day.
///
/// # Errors
/// When the records cannot be read.
pub fn of_traps_up_to(
    connection: &Connection,
    traps: &[&TrapId],
    as_of: NaiveDate,
) -> Result<Vec<Visit>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM visit
         WHERE trap IN (SELECT value FROM json_each(?1)) AND day <= ?2 ORDER BY trap, day"
    );
    let traps: Vec<&str> = traps.iter().map(|trap| trap.as_str()).collect();
    let traps = serde_json::to_string(&traps).expect("texts are JSON");
    let mut statement = connection.prepare_cached(&sql)?;
    read_all(statement.query([traps, as_of.to_string()])?)
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

/// Visits that were known at the start of a stretch of time and were withdrawn in it: trap and day.
///
/// # Errors
/// A failing statement.
pub fn withdrawn(
    connection: &Connection,
    when: Range<DateTime<Utc>>,
) -> Result<Vec<(TrapId, NaiveDate)>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT DISTINCT trap, day FROM visit_history AS known
         WHERE entered_at < ?1 AND replaced_at >= ?1 AND replaced_at < ?2
           AND NOT EXISTS (SELECT 1 FROM visit WHERE trap = known.trap AND day = known.day)
         ORDER BY day, trap",
    )?;
    let when = [when.start.timestamp(), when.end.timestamp()];
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
