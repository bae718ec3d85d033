//! Why records that are there cannot be used now: one answer for the loop, the commands and the mail.

use std::error::Error;
use std::io;

use rusqlite::ErrorCode;
use rusqlite::ffi;

use super::error::{CopyError, StoreError};
use super::journal::JournalError;

/// Why the records cannot be used now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unusable {
    /// Another process holds them; that passes by itself.
    Busy,
    /// There is no room on the disk.
    Full,
    /// The disk does not let them be read or written.
    Failing,
    /// What stands in the file is not what was written.
    Damaged,
}

impl Unusable {
    /// What an error and its causes say of the records; `None` where they are not to blame. What befell another
    /// file, such as a sheet on a full disk of its own, says nothing of them.
    #[must_use]
    pub fn of(error: &(dyn Error + 'static)) -> Option<Self> {
        let (mut cause, mut of_records) = (Some(error), false);
        while let Some(error) = cause {
            of_records |= error.is::<StoreError>() || error.is::<JournalError>();
            if let Some(unusable) = Self::of_one(error, of_records) {
                return Some(unusable);
            }
            cause = error.source();
        }
        None
    }

    fn of_one(error: &(dyn Error + 'static), of_records: bool) -> Option<Self> {
        if let Some(StoreError::Changed | StoreError::Replaced { .. } | StoreError::InUse { .. }) =
            error.downcast_ref()
        {
            return Some(Self::Busy);
        }
        let damaged = matches!(error.downcast_ref(), Some(StoreError::Damaged(_)))
            || matches!(error.downcast_ref(), Some(CopyError::Damaged(_)));
        if damaged {
            return Some(Self::Damaged);
        }
        if let Some(error) = error.downcast_ref::<rusqlite::Error>() {
            return Self::of_code(*error.sqlite_error()?);
        }
        let file = error.downcast_ref::<io::Error>().filter(|_| of_records)?;
        match file.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Some(Self::Full),
            io::ErrorKind::ReadOnlyFilesystem => Some(Self::Failing),
            _ => None,
        }
    }

    /// Whether it lasts until somebody does something.
    #[must_use]
    pub const fn lasts(self) -> bool {
        match self {
            Self::Busy => false,
            Self::Full | Self::Failing | Self::Damaged => true,
        }
    }

    fn of_code(error: ffi::Error) -> Option<Self> {
        match error.code {
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => Some(Self::Busy),
            ErrorCode::DiskFull => Some(Self::Full),
            ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase => Some(Self::Damaged),
            // Room for what lies beside the file is asked for in another way.
            _ if error.extended_code == ffi::SQLITE_IOERR_SHMSIZE => Some(Self::Full),
            // The file is there, as was seen before; what lies beside it cannot be made.
            ErrorCode::SystemIoFailure | ErrorCode::ReadOnly | ErrorCode::CannotOpen => {
                Some(Self::Failing)
            }
            _ => None,
        }
    }

    /// What it is and what to do, in one line for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Busy => {
                "the daemon is busy: another duskflight holds the database; try again in a moment"
            }
            Self::Full => {
                "the disk is full: nothing can be recorded or told until there is room where the database lies"
            }
            Self::Failing => {
                "the disk does not let the database be read or written: it may be over a quota, read-only since a fault, or dying, or this user \
                 may only read"
            }
            Self::Damaged => {
                "the database is damaged; it is left as it is. Stop the daemon, then `duskflight restore latest`"
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::journal::JournalError;

    #[test]
    fn an_error_says_what_befell_the_records_however_deep_it_lies() {
        let sqlite = |extended| rusqlite::Error::SqliteFailure(ffi::Error::new(extended), None);
        let check = |extended, expected| {
            let error = JournalError::Store(StoreError::Sql(sqlite(extended)));
            assert_eq!(Unusable::of(&error), expected, "{extended}");
        };
        check(ffi::SQLITE_BUSY, Some(Unusable::Busy));
        check(ffi::SQLITE_BUSY_SNAPSHOT, Some(Unusable::Busy));
        check(ffi::SQLITE_FULL, Some(Unusable::Full));
        check(ffi::SQLITE_IOERR_SHMSIZE, Some(Unusable::Full));
        check(ffi::SQLITE_CORRUPT_INDEX, Some(Unusable::Damaged));
        check(ffi::SQLITE_NOTADB, Some(Unusable::Damaged));
        check(ffi::SQLITE_IOERR_READ, Some(Unusable::Failing));
        check(ffi::SQLITE_READONLY, Some(Unusable::Failing));
        check(ffi::SQLITE_CANTOPEN, Some(Unusable::Failing));
        check(ffi::SQLITE_CONSTRAINT, None);
        let full = JournalError::File {
            path: "told.jsonl".into(),
            source: io::ErrorKind::StorageFull.into(),
        };
        assert_eq!(Unusable::of(&full), Some(Unusable::Full));
        let sheet = io::Error::from(io::ErrorKind::StorageFull);
        assert_eq!(Unusable::of(&sheet), None, "of another disk");
        let copy = |source| StoreError::Copy {
            path: "copy.sqlite".into(),
            source,
        };
        let damaged = copy(CopyError::Damaged("page 3".to_owned()));
        assert_eq!(Unusable::of(&damaged), Some(Unusable::Damaged));
        let copy_alone = copy(CopyError::NotWhole("page 3".to_owned()));
        assert_eq!(Unusable::of(&copy_alone), None);
        assert_eq!(Unusable::of(&StoreError::Changed), Some(Unusable::Busy));
        assert_eq!(Unusable::of(&StoreError::Ended), None);
    }
}
