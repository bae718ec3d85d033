//! Bringing a file's schema up to date, after a copy of the file was put beside it.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use super::beside::beside;
use super::{CopyError, StoreError};

/// Schema steps, oldest first; a released step is never edited.
const MIGRATIONS: [&str; 7] = [
    include_str!("schema.sql"),
    include_str!("schema-2.sql"),
    include_str!("schema-3.sql"),
    include_str!("schema-4.sql"),
    include_str!("schema-5.sql"),
    include_str!("schema-6.sql"),
    include_str!("schema-7.sql"),
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
/// the database lies, unless in memory. An older schema is copied beside it before anything is changed.
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
        Some(file) => Some(copy_beside(file, found)?),
        None => None,
    };
    for step in MIGRATIONS.iter().skip(usize::try_from(found).unwrap_or(0)) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "user_version", KNOWN)?;
    transaction.commit()?;
    if let Some(copy) = copy {
        let copy = copy.display();
        tracing::warn!(%copy, "the database was brought from schema {found} to {KNOWN}; a copy of it before is kept");
    }
    Ok(())
}

fn version(connection: &Connection) -> Result<i64, StoreError> {
    Ok(connection.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

/// Copies a database to a name beside it that says its schema, in place of an earlier copy of it: what that one
/// has, this one has too.
fn copy_beside(file: &Path, schema: i64) -> Result<PathBuf, StoreError> {
    let copy = beside(file, &format!(".schema-{schema}"));
    let unfinished = beside(file, ".copying");
    let made = write_copy(file, &unfinished).and_then(|()| {
        fs::rename(&unfinished, &copy)?;
        let folder = copy
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty());
        Ok(File::open(folder.unwrap_or(Path::new(".")))?.sync_all()?)
    });
    match made {
        Ok(()) => Ok(copy),
        Err(source) => {
            // A part of a copy helps nobody; that it stays is no other failure.
            let _ = fs::remove_file(&unfinished);
            Err(StoreError::Copy { path: copy, source })
        }
    }
}

/// Writes, checks and syncs a copy that nobody may read who may not read the original.
fn write_copy(file: &Path, to: &Path) -> Result<(), CopyError> {
    File::create(to)?;
    fs::set_permissions(to, fs::metadata(file)?.permissions())?;
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let original = Connection::open_with_flags(file, flags)?;
    original.execute("VACUUM INTO ?1", [to.to_string_lossy()])?;
    let copy = Connection::open_with_flags(to, flags)?;
    let found: String = copy.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
    if found != "ok" {
        return Err(CopyError::Damaged(found));
    }
    Ok(File::open(to)?.sync_all()?)
}

#[cfg(test)]
mod tests;
