//! Which version of its whole record each station's server sent last.

use duskflight_core::id::StationId;
use rusqlite::{Connection, OptionalExtension, params};

use super::StoreError;
use crate::feed::Version;

/// The version that answered a question last, where it was well and is known.
///
/// # Errors
/// A failing statement.
pub fn of(
    connection: &Connection,
    station: &StationId,
    question: &str,
) -> Result<Option<Version>, StoreError> {
    let version = connection
        .prepare_cached(
            "SELECT etag, last_modified FROM feed_version WHERE station = ?1 AND question = ?2",
        )?
        .query_row(params![station.as_str(), question], |row| {
            Ok(Version {
                etag: row.get(0)?,
                last_modified: row.get(1)?,
            })
        })
        .optional()?;
    Ok(version)
}

/// Notes which version answered a question; none where the answer was no good or the server says nothing.
///
/// # Errors
/// A failing statement.
pub fn set(
    connection: &Connection,
    station: &StationId,
    question: &str,
    version: Option<&Version>,
) -> Result<(), StoreError> {
    match version {
        Some(version) => connection
            .prepare_cached("INSERT OR REPLACE INTO feed_version VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![
                station.as_str(),
                question,
                version.etag,
                version.last_modified
            ])?,
        None => connection
            .prepare_cached("DELETE FROM feed_version WHERE station = ?1")?
            .execute([station.as_str()])?,
    };
    Ok(())
}
