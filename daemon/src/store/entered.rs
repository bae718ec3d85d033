//! How much people have entered, and up to when missing records are accepted as they are.

use chrono::{DateTime, Utc};
use duskflight_core::ledger::Entered;
use rusqlite::{Connection, OptionalExtension, params};

use super::StoreError;

/// Counts what was entered, each once, also what was changed or withdrawn since: a count that only grows.
///
/// # Errors
/// A failing statement.
pub fn entered(connection: &Connection) -> Result<Entered, StoreError> {
    let count = |table: &str, key: &str| -> Result<u64, StoreError> {
        let sql = format!(
            "SELECT count(*) FROM (SELECT {key} FROM {table} UNION SELECT {key} FROM {table}_history)"
        );
        let counted: i64 = connection
            .prepare_cached(&sql)?
            .query_row([], |row| row.get(0))?;
        Ok(counted.unsigned_abs())
    };
    Ok(Entered {
        readings: count("visit", "trap, day")?,
        notes: count("note", "block, variety, kind, day")?,
        temperatures: count("temperature_decision", "station, day")?,
    })
}

/// Up to when the records are accepted as they are, whatever left before; `None` where nobody did.
///
/// # Errors
/// A failing statement.
pub fn accepted(connection: &Connection) -> Result<Option<i64>, StoreError> {
    let accepted = connection
        .prepare_cached("SELECT at FROM accepted_records WHERE id = 1")?
        .query_row([], |row| row.get(0))
        .optional()?;
    Ok(accepted)
}

/// Accepts the records as they are: what is missing is lost.
///
/// # Errors
/// A failing statement.
pub fn accept(connection: &Connection, by: &str, now: DateTime<Utc>) -> Result<(), StoreError> {
    connection.execute(
        "INSERT OR REPLACE INTO accepted_records (id, at, by) VALUES (1, ?1, ?2)",
        params![now.timestamp(), by],
    )?;
    Ok(())
}
