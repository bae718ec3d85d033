//! That the machine's clock is not believed just now, as the daemon last noted it.

use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, params};

use super::{StoreError, instant};

/// Since when, by that clock, and why it is not believed.
///
/// # Errors
/// A failing statement.
pub fn read(connection: &Connection) -> Result<Option<(DateTime<Utc>, String)>, StoreError> {
    let row = connection
        .prepare_cached("SELECT since, why FROM clock_doubt")?
        .query_row([], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    row.map(|(since, why)| Ok((instant(since)?, why)))
        .transpose()
}

/// Notes why the clock is not believed, or that it is.
///
/// # Errors
/// A failing statement.
pub fn note(
    connection: &Connection,
    why: Option<&str>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    match why {
        None => connection.execute("DELETE FROM clock_doubt", [])?,
        Some(why) => connection.execute(
            "INSERT INTO clock_doubt VALUES (1, ?1, ?2) ON CONFLICT (id) DO UPDATE SET why = ?2",
            params![now.timestamp(), why],
        )?,
    };
    Ok(())
}
