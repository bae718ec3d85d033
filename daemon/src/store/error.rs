//! What can go wrong with the records.

use std::io;
use std::path::PathBuf;

/// What can go wrong with the records.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The file cannot be opened.
    #[error("open the database {path}; check that its folder exists and can be written")]
    Open {
        /// The file.
        path: PathBuf,
        /// Why.
        source: rusqlite::Error,
    },
    /// There is no file.
    #[error(
        "find the database {path}: it is not there; nothing was made in its place. Put a copy back (`duskflight restore latest`), or, for a farm \
         that was set up by hand, make an empty one with `duskflight init --records`"
    )]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// The file holds nothing.
    #[error(
        "find records in the database {path}: it is empty; it was left as it is. Put a copy back, or take it away \
         and make an empty one with `duskflight init --records`"
    )]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// Something else stands where the file should.
    #[error(
        "open the database: {path} is no file; take it away, or name another place in [store] file"
    )]
    NoFile {
        /// Where it should stand.
        path: PathBuf,
    },
    /// The file system does not let it, or what is locked beside it, be looked at.
    #[error("reach {path}; check that its folder is there and who may use it")]
    Unreachable {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The file was written to while it was read without a lock.
    #[error("read the database: it was written to meanwhile; ask once more")]
    Changed,
    /// Another file is put in its place just now.
    #[error("open the database {path}: a copy is put in its place just now")]
    Replaced {
        /// The file.
        path: PathBuf,
    },
    /// Somebody writes to the file that should be replaced.
    #[error(
        "put a copy in the place of the database {path}; nothing was changed: another duskflight writes to it"
    )]
    InUse {
        /// The file.
        path: PathBuf,
    },
    /// The file was written by a newer version.
    #[error(
        "the database has schema {found}, this version knows {known}; install the newer version again"
    )]
    Newer {
        /// Its schema.
        found: i64,
        /// The newest schema known here.
        known: i64,
    },
    /// The file could not be copied into its backups.
    #[error("copy the database to {path}; nothing was changed")]
    Copy {
        /// The copy.
        path: PathBuf,
        /// Why.
        source: CopyError,
    },
    /// A copy could not be put in the file's place.
    #[error("put a copy in the place of the database {path}")]
    Restore {
        /// The file.
        path: PathBuf,
        /// Why.
        source: CopyError,
    },
    /// A statement failed.
    #[error("read or write the database")]
    Sql(#[from] rusqlite::Error),
    /// A stored value is not what this version writes.
    #[error("understand {value:?} in the column {column} of the database")]
    Value {
        /// The column.
        column: &'static str,
        /// What stands there.
        value: String,
    },
    /// What should be put back is no copy of records.
    #[error("put back {path}; nothing was changed: {why}")]
    NoCopy {
        /// The file.
        path: PathBuf,
        /// Why, in words: what befell a copy did not befall the records.
        why: String,
    },
    /// What stands in the file is not what was written.
    #[error("check the database: {0}")]
    Damaged(String),
    /// The thread that owns the database has ended.
    #[error("reach the database thread: it has ended")]
    Ended,
}

/// Why a file could not be copied.
#[derive(Debug, thiserror::Error)]
pub enum CopyError {
    /// SQLite.
    #[error("write the copy")]
    Sql(#[from] rusqlite::Error),
    /// The file system.
    #[error("write the copy")]
    File(#[from] io::Error),
    /// What was copied is damaged.
    #[error(
        "check the copy: {0}; what was copied is damaged, keep it as it is and put back an older copy"
    )]
    Damaged(String),
    /// The copy is not what was copied.
    #[error("check the copy: {0}; what was copied is whole, so the disk may be failing")]
    NotWhole(String),
}
