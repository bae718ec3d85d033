//! How a file of records is opened: to write, made anew, only read, or copied into memory.

use std::fs::{self, Metadata};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags};

use super::StoreError;
use super::beside::beside;
use super::migration::{Begin, is_current, migrate};

/// How long another process may hold the database before a statement gives up.
pub(super) const BUSY_TIMEOUT: Duration = Duration::from_secs(10);

/// The one table that is not copied: nobody reads a mail of a copy.
const MAIL_CONTENT: &str = "mail_content";

/// Opens a file that is there, to write. Opening never makes one: records that are missing are a fault, and no
/// records would look like a farm that has told nothing yet.
pub(super) fn open_connection(path: &Path) -> Result<Connection, StoreError> {
    regular_file(path)?;
    to_write(path, OpenFlags::SQLITE_OPEN_READ_WRITE, Begin::Refused)
}

/// Opens a file to write and makes it when it is not there.
pub(super) fn create_connection(path: &Path) -> Result<Connection, StoreError> {
    match regular_file(path) {
        Ok(_) | Err(StoreError::Missing { .. }) => {}
        Err(error) => return Err(error),
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
    to_write(path, flags, Begin::Allowed)
}

fn to_write(path: &Path, flags: OpenFlags, begin: Begin) -> Result<Connection, StoreError> {
    let flags = flags | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(path, flags).map_err(failed(path))?;
    connection.busy_timeout(BUSY_TIMEOUT)?;
    // Where it is damaged its log of writes is kept beside it, since that may be the part that is whole.
    leave_as_it_is(&connection, true)?;
    // Before anything is written: the first pragma would make an empty file one that holds something.
    begin.check(&connection, path)?;
    prepare(&connection).map_err(failed(path))?;
    migrate(&mut connection, Some(path))?;
    leave_as_it_is(&connection, false)?;
    Ok(connection)
}

/// Whether the log of writes stays beside the file at the end, and is not written into it.
pub(super) fn leave_as_it_is(connection: &Connection, stays: bool) -> rusqlite::Result<bool> {
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, stays)
}

fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    // Of a new file alone; an older one takes it over when it is shrunk first.
    connection.pragma_update(None, "auto_vacuum", "incremental")?;
    connection.pragma_update(None, "journal_mode", "wal")?;
    connection.pragma_update(None, "synchronous", "full")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "journal_size_limit", 16 << 20)?;
    // KiB: what a big farm's night writes stays in memory until it is committed.
    connection.pragma_update(None, "cache_size", -(32 << 10))?;
    // A statement keeps its plan whatever is bound to it; otherwise the ledger's is prepared anew for
    // every row of a night.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    Ok(())
}

/// A file that is only read, by whoever may read it, and that nothing is left beside.
#[derive(Debug)]
pub(super) struct ToRead {
    pub(super) connection: Connection,
    /// How the file looked, where it is read as it lies there.
    pub(super) as_it_lies: Option<AsItLies>,
}

/// A file that is read without a lock, since a lock needs a file beside it. What was read counts only where
/// nobody wrote meanwhile.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct AsItLies {
    path: PathBuf,
    bytes: u64,
    written: Option<SystemTime>,
}

impl AsItLies {
    fn new(path: &Path, found: &Metadata) -> Self {
        Self {
            path: path.to_owned(),
            bytes: found.len(),
            written: found.modified().ok(),
        }
    }

    /// # Errors
    /// Somebody wrote to the file since.
    pub(super) fn check(&self) -> Result<(), StoreError> {
        let now = fs::metadata(&self.path).map(|found| Self::new(&self.path, &found));
        match now.is_ok_and(|now| now == *self) {
            true => Ok(()),
            false => Err(StoreError::Changed),
        }
    }
}

/// Opens a file to read. Records of an earlier schema are read from a copy in memory that has this one.
pub(super) fn open_to_read(path: &Path) -> Result<ToRead, StoreError> {
    let (address, as_it_lies) = address(path)?;
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_URI
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(address, flags).map_err(failed(path))?;
    connection.busy_timeout(BUSY_TIMEOUT)?;
    Begin::Refused.check(&connection, path)?;
    if !is_current(&connection)? {
        return Ok(ToRead {
            connection: copied(path, |_| true)?,
            as_it_lies: None,
        });
    }
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    Ok(ToRead {
        connection,
        as_it_lies,
    })
}

/// Whether a file is one of records that this version can open, now or once its schema is brought up to date.
pub(super) fn check_to_read(path: &Path) -> Result<(), StoreError> {
    open_to_read(path).map(drop)
}

/// Copies a file into memory, but for what its mails say, and brings the copy's schema up to date.
pub(super) fn copy_in_memory(path: &Path) -> Result<Connection, StoreError> {
    copied(path, |table| table != MAIL_CONTENT)
}

/// Records that are nowhere but in memory, and none yet.
pub(super) fn empty_in_memory() -> Result<Connection, StoreError> {
    let mut connection = Connection::open_in_memory()?;
    connection.pragma_update(None, "foreign_keys", true)?;
    migrate(&mut connection, None)?;
    Ok(connection)
}

fn copied(path: &Path, with_rows_of: fn(&str) -> bool) -> Result<Connection, StoreError> {
    let (address, as_it_lies) = address(path)?;
    let mut copy = Connection::open_in_memory()?;
    copy_rows(&copy, &address, with_rows_of).map_err(failed(path))?;
    as_it_lies.map_or(Ok(()), |file| file.check())?;
    Begin::Refused.check(&copy, path)?;
    copy.pragma_update(None, "foreign_keys", true)?;
    copy.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    migrate(&mut copy, None)?;
    Ok(copy)
}

/// The address of a file that is read without leaving anything beside it. A file without a log of writes is
/// open nowhere: it is read as it lies there, since SQLite would make a log that it may not take away again.
pub(super) fn address(path: &Path) -> Result<(String, Option<AsItLies>), StoreError> {
    // In this order: a file whose log is gone only now was looked at before its log was written into it.
    let as_it_lies = AsItLies::new(path, &regular_file(path)?);
    let (how, as_it_lies) = match (beside(path, "-wal").exists(), beside(path, "-shm").exists()) {
        (false, _) => ("immutable=1", Some(as_it_lies)),
        (true, true) => ("mode=ro&readonly_shm=1", None),
        (true, false) => ("mode=ro", None),
    };
    let bytes = path.as_os_str().as_encoded_bytes().iter();
    let escaped: String = bytes.map(|byte| format!("%{byte:02x}")).collect();
    Ok((format!("file:{escaped}?{how}"), as_it_lies))
}

/// What the file system says of the records, which are a file and nothing else, with nothing but files beside it:
/// to open a pipe would be to wait for whoever writes into it.
pub(super) fn regular_file(path: &Path) -> Result<Metadata, StoreError> {
    for of_sqlite in ["-wal", "-shm", "-journal"] {
        let path = beside(path, of_sqlite);
        if fs::metadata(&path).is_ok_and(|found| !found.is_file()) {
            return Err(StoreError::NoFile { path });
        }
    }
    match fs::metadata(path) {
        Ok(found) if found.is_file() => Ok(found),
        Ok(_) => Err(StoreError::NoFile {
            path: path.to_owned(),
        }),
        Err(error) if error.kind() == ErrorKind::NotFound => Err(StoreError::Missing {
            path: path.to_owned(),
        }),
        Err(source) => Err(StoreError::Unreachable {
            path: path.to_owned(),
            source,
        }),
    }
}

fn failed(path: &Path) -> impl Fn(rusqlite::Error) -> StoreError {
    move |source| StoreError::Open {
        path: path.to_owned(),
        source,
    }
}

/// Copies a file's tables in one read, so that nothing is written between, and then its indices.
fn copy_rows(
    copy: &Connection,
    file: &str,
    with_rows_of: fn(&str) -> bool,
) -> rusqlite::Result<()> {
    copy.pragma_update(None, "foreign_keys", false)?;
    copy.execute("ATTACH DATABASE ?1 AS file", [file])?;
    copy.execute_batch("BEGIN")?;
    let version: u32 = copy.pragma_query_value(Some("file"), "user_version", |row| row.get(0))?;
    for (table, sql) in declared(copy, "type = 'table'")? {
        copy.execute_batch(&sql)?;
        if with_rows_of(&table) {
            let all = format!("INSERT INTO main.\"{table}\" SELECT * FROM file.\"{table}\"");
            copy.execute(&all, [])?;
        }
    }
    for (_, sql) in declared(copy, "type != 'table'")? {
        copy.execute_batch(&sql)?;
    }
    copy.pragma_update(Some("main"), "user_version", version)?;
    copy.execute_batch("COMMIT; DETACH DATABASE file")
}

/// Names of what an attached file declares, with how.
fn declared(copy: &Connection, which: &str) -> rusqlite::Result<Vec<(String, String)>> {
    let sql = format!(
        "SELECT name, sql FROM file.sqlite_schema
         WHERE {which} AND sql IS NOT NULL AND name NOT LIKE 'sqlite%' ORDER BY rowid"
    );
    let mut statement = copy.prepare(&sql)?;
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    rows.collect()
}

#[cfg(test)]
mod tests;
