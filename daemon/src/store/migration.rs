//! Bringing a file's schema up to date, after a copy of the file was put into its backups.

use std::path::Path;

use rusqlite::{Connection, TransactionBehavior};

use super::{StoreError, backup};
use crate::crash;

/// Schema steps, oldest first; a released step is never edited.
const MIGRATIONS: [&str; 11] = [
    include_str!("schema.sql"),
    include_str!("schema-2.sql"),
    include_str!("schema-3.sql"),
    include_str!("schema-4.sql"),
    include_str!("schema-5.sql"),
    include_str!("schema-6.sql"),
    include_str!("schema-7.sql"),
    include_str!("schema-8.sql"),
    include_str!("schema-9.sql"),
    include_str!("schema-10.sql"),
    include_str!("schema-11.sql"),
];
/// The schema this version writes.
const KNOWN: i64 = MIGRATIONS.len() as i64;

/// Whether a file that holds nothing may become one of records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Begin {
    /// Whoever begins a farm makes it.
    Allowed,
    /// It is one whose records are lost.
    Refused,
}

impl Begin {
    /// # Errors
    /// The file holds nothing and may not begin here, or it cannot be read.
    pub(super) fn check(self, connection: &Connection, path: &Path) -> Result<(), StoreError> {
        match self {
            Self::Refused if version(connection)? == 0 => Err(StoreError::Empty {
                path: path.to_owned(),
            }),
            _ => Ok(()),
        }
    }
}

/// Whether the schema is the one this version writes.
///
/// # Errors
/// It is a newer one, or cannot be read.
pub(super) fn is_current(connection: &Connection) -> Result<bool, StoreError> {
    match version(connection)? {
        found if found > KNOWN => Err(StoreError::Newer {
            found,
            known: KNOWN,
        }),
        found => Ok(found == KNOWN),
    }
}

/// Brings the schema up to date in one transaction, so that a failing step leaves all as it was. `file`: where
/// the database lies, unless in memory. A file of an older schema is copied into its backups before anything is changed.
pub(super) fn migrate(connection: &mut Connection, file: Option<&Path>) -> Result<(), StoreError> {
    if is_current(connection)? {
        return Ok(());
    }
    // From here on nobody else writes, so that the copy is what the steps begin with.
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let found = version(&transaction)?;
    if is_current(&transaction)? {
        return Ok(());
    }
    let copy = match file.filter(|_| found > 0) {
        Some(file) => Some(backup::of_schema(file, found)?),
        None => None,
    };
    for step in MIGRATIONS.iter().skip(usize::try_from(found).unwrap_or(0)) {
        transaction.execute_batch(step)?;
        crash::point("a step of the schema is done");
    }
    transaction.pragma_update(None, "user_version", KNOWN)?;
    crash::point("before a commit");
    transaction.commit()?;
    crash::point("after a commit");
    if let Some(copy) = copy {
        let copy = copy.display();
        tracing::warn!(%copy, "the database was brought from schema {found} to {KNOWN}; a copy of it before is kept");
    }
    Ok(())
}

fn version(connection: &Connection) -> Result<i64, StoreError> {
    Ok(connection.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

#[cfg(test)]
mod tests;
