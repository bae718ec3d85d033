//! Forms of the page that were sent: each counts once, however often it arrives.

use chrono::{DateTime, Utc};
use duskflight_core::id::PersonId;
use rusqlite::{Connection, OptionalExtension, params};

use super::StoreError;

/// A form that was sent.
#[derive(Debug, Clone, Copy)]
pub struct Form<'a> {
    /// The short name of its mark and all that stood in it; its entries begin with it.
    pub id: &'a str,
    /// Who sent it.
    pub person: &'a PersonId,
    /// When it was taken.
    pub at: DateTime<Utc>,
}

/// Takes note of a form; gives whether it has not arrived before.
///
/// # Errors
/// A failing statement.
pub fn begin(connection: &Connection, form: &Form<'_>) -> Result<bool, StoreError> {
    let added = connection
        .prepare_cached("INSERT OR IGNORE INTO page_form VALUES (?1, ?2, ?3)")?
        .execute(params![form.id, form.person.as_str(), form.at.timestamp()])?;
    Ok(added > 0)
}

/// Who sent a form.
///
/// # Errors
/// A failing statement.
pub fn person_of(connection: &Connection, id: &str) -> Result<Option<PersonId>, StoreError> {
    let person: Option<String> = connection
        .prepare_cached("SELECT person FROM page_form WHERE id = ?1")?
        .query_row([id], |row| row.get(0))
        .optional()?;
    Ok(person.and_then(|id| PersonId::new(&id).ok()))
}

/// Forgets forms that were taken before an instant.
///
/// # Errors
/// A failing statement.
pub fn prune(connection: &Connection, before: DateTime<Utc>) -> Result<usize, StoreError> {
    let pruned = connection
        .prepare_cached("DELETE FROM page_form WHERE at < ?1")?
        .execute([before.timestamp()])?;
    Ok(pruned)
}
