//! What a database file is like, read without changing it.

use std::path::Path;

use rusqlite::{Connection, OpenFlags};

use super::StoreError;
use super::damage::damage;
use super::opening::address;

/// A database file as it lies there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileFacts {
    /// Its schema step.
    pub schema: i64,
    /// The first damage that a check finds.
    pub damage: Option<String>,
}

/// Looks at a database file.
///
/// # Errors
/// When it is not there or is no database.
pub fn inspect(path: &Path) -> Result<FileFacts, StoreError> {
    let failed = |source| StoreError::Open {
        path: path.to_owned(),
        source,
    };
    let (address, _) = address(path)?;
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    let connection = Connection::open_with_flags(address, flags).map_err(failed)?;
    Ok(FileFacts {
        schema: connection
            .pragma_query_value(None, "user_version", |row| row.get(0))
            .map_err(failed)?,
        damage: damage(&connection).map_err(failed)?,
    })
}
