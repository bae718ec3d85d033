//! Who has the records open to write, so that their file is not replaced below anybody: SQLite's own locks lie in the
//! file that is moved away.

use std::fs::{self, File, Permissions, TryLockError};
use std::io::{self, ErrorKind};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use super::StoreError;
use crate::plain_file;

/// Whoever may write the records may take it, and it holds nothing that could be read.
const FOR_ALL: u32 = 0o644;

/// Held while the records are open to write, or while their file is replaced; freed by the system when the process
/// ends, however it ends.
#[derive(Debug)]
pub(super) struct InUse {
    _file: File,
}

impl InUse {
    /// With others that write, whose transactions wait for each other.
    ///
    /// # Errors
    /// Their file is being replaced, or the lock cannot be used.
    pub(super) fn with_others(database: &Path) -> Result<Self, StoreError> {
        let path = database.to_owned();
        Self::held(
            database,
            File::try_lock_shared,
            StoreError::Replaced { path },
        )
    }

    /// With nobody else, to replace the file.
    ///
    /// # Errors
    /// Somebody writes, or the lock cannot be used.
    pub(super) fn alone(database: &Path) -> Result<Self, StoreError> {
        let path = database.to_owned();
        Self::held(database, File::try_lock, StoreError::InUse { path })
    }

    fn held(
        database: &Path,
        lock: fn(&File) -> Result<(), TryLockError>,
        refused: StoreError,
    ) -> Result<Self, StoreError> {
        let path = path_of(database);
        let failed = |source| StoreError::Unreachable {
            path: path.clone(),
            source,
        };
        let file = opened(&path).map_err(failed)?;
        match lock(&file) {
            Ok(()) => Ok(Self { _file: file }),
            Err(TryLockError::WouldBlock) => Err(refused),
            Err(TryLockError::Error(source)) => Err(failed(source)),
        }
    }
}

/// Whether anybody ever had the records open to write.
pub(super) fn was_ever(database: &Path) -> bool {
    path_of(database).exists()
}

fn path_of(database: &Path) -> PathBuf {
    database.with_extension("open.lock")
}

/// To read: who wrote first need not be who writes next.
fn opened(path: &Path) -> io::Result<File> {
    match plain_file::open(path, File::options().read(true)) {
        Err(error) if error.kind() == ErrorKind::NotFound => {
            let file = plain_file::open(path, File::options().append(true).create(true))?;
            fs::set_permissions(path, Permissions::from_mode(FOR_ALL))?;
            Ok(file)
        }
        opened => opened,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Store, Unusable, backup, restore::restore};

    #[test]
    fn who_writes_bars_a_replacement_and_a_replacement_bars_who_would_write() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records.sqlite");
        let store = Store::create(&path).unwrap();
        let copy = backup::of_day(&path, "2022-06-10".parse().unwrap()).unwrap();
        let other = Store::open(&path).unwrap();
        let now = chrono::DateTime::UNIX_EPOCH;
        let refused = restore(&path, &copy, now).unwrap_err();
        assert!(matches!(refused, StoreError::InUse { .. }), "{refused:?}");
        assert_eq!(Unusable::of(&refused), Some(Unusable::Busy));
        drop(store);
        assert!(restore(&path, &copy, now).is_err());
        drop(other);
        let replacing = InUse::alone(&path).unwrap();
        // Also while the file is away.
        fs::rename(&path, dir.path().join("away")).unwrap();
        for refused in [Store::open(&path), Store::create(&path)] {
            let refused = refused.unwrap_err();
            assert!(
                matches!(refused, StoreError::Replaced { .. }),
                "{refused:?}"
            );
            assert_eq!(Unusable::of(&refused), Some(Unusable::Busy));
        }
        drop(replacing);
        assert!(matches!(
            Store::open(&path),
            Err(StoreError::Missing { .. })
        ));
        restore(&path, &copy, now).unwrap();
        Store::open(&path).unwrap();
    }

    #[test]
    fn records_that_are_not_there_get_no_lock() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records.sqlite");
        assert!(matches!(
            Store::open(&path),
            Err(StoreError::Missing { .. })
        ));
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 0);
    }
}
