//! One process at a time fetches and tells.

use std::fs::{File, TryLockError};
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

use crate::plain_file;

/// Held while a process works; freed by the system when it ends, however it ends.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

/// Why the lock cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum LockError {
    /// Another process holds it.
    #[error("lock {path}: another duskflight is at work here (process {holder})")]
    Held {
        /// The lock file.
        path: PathBuf,
        /// The other process.
        holder: String,
    },
    /// The file cannot be used.
    #[error("lock {path}")]
    File {
        /// The lock file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

impl Lock {
    /// Takes the lock that belongs to a database.
    ///
    /// # Errors
    /// [`LockError`].
    pub fn take(database: &Path) -> Result<Self, LockError> {
        let path = database.with_extension("lock");
        let failed = |source| LockError::File {
            path: path.clone(),
            source,
        };
        let mut how = File::options();
        how.read(true).write(true).create(true).truncate(false);
        let opened = plain_file::open(&path, &mut how).or_else(|error| match error.kind() {
            // A disk that has become read-only is told by whoever finds that nothing can be recorded.
            ErrorKind::ReadOnlyFilesystem => plain_file::open(&path, File::options().read(true)),
            _ => Err(error),
        });
        let mut file = opened.map_err(failed)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut holder = String::new();
                let read = file.read_to_string(&mut holder);
                let known = read.is_ok() && !holder.trim().is_empty();
                let holder = if known {
                    holder.trim().to_owned()
                } else {
                    "unknown".to_owned()
                };
                return Err(LockError::Held { path, holder });
            }
            Err(TryLockError::Error(source)) => return Err(failed(source)),
        }
        // On a full disk the lock holds all the same; only its holder is not known.
        let _ = file
            .set_len(0)
            .and_then(|()| writeln!(file, "{}", std::process::id()));
        Ok(Self { _file: file })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_taker_is_told_who_holds_it_and_gets_it_afterwards() {
        let dir = tempfile::tempdir().unwrap();
        let database = dir.path().join("records.sqlite");
        let held = Lock::take(&database).unwrap();
        let refused = Lock::take(&database).unwrap_err().to_string();
        assert!(
            refused.contains(&std::process::id().to_string()),
            "{refused}"
        );
        drop(held);
        assert!(Lock::take(&database).is_ok());
    }
}
