//! What all records that people enter have in common: who entered them, and what that did.

use chrono::{DateTime, Utc};
use rusqlite::{Connection, params};

use super::StoreError;

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
    /// Whether its file was imported before: it then brings nothing back that was changed or
    /// withdrawn since.
    pub again: bool,
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
    /// It was applied once and has been changed or withdrawn since; that stands.
    Superseded,
}

/// Who takes a record back, when and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Withdrawal {
    /// The instant.
    pub at: DateTime<Utc>,
    /// The person, as typed.
    pub by: String,
    /// The reason given.
    pub why: String,
}

/// A record as it stood before it was changed or withdrawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Past<T> {
    /// The record.
    pub record: T,
    /// When it was entered.
    pub entered: DateTime<Utc>,
    /// Who entered it.
    pub by: String,
    /// How it came in.
    pub via: String,
    /// When it was changed or withdrawn.
    pub replaced: DateTime<Utc>,
    /// Who did that; unknown of what was changed long ago.
    pub replaced_by: Option<String>,
    /// Why it was withdrawn; `None` where it was changed.
    pub why: Option<String>,
}

/// Notes that a file is imported; gives whether it was before.
///
/// # Errors
/// A failing statement.
pub fn importing(
    connection: &Connection,
    file_hash: &str,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let new = connection
        .prepare_cached("INSERT OR IGNORE INTO imported_file VALUES (?1, ?2)")?
        .execute(params![file_hash, at.timestamp()])?;
    Ok(new == 0)
}
