//! Why records that are there cannot be used now: one answer for the loop, the commands and the mail.

use std::error::Error;
use std::io;

use rusqlite::ErrorCode;
use rusqlite::ffi;

use super::StoreError;

/// Why the records cannot be used now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unusable {
    /// Another process holds them; that passes by itself.
    Busy,
    /// There is no room on the disk.
    Full,
    /// What stands in the file is not what was written.
    Damaged,
}

impl Unusable {
    /// What an error and its causes say of the records; `None` where they are not to blame.
    #[must_use]
    pub fn of(error: &(dyn Error + 'static)) -> Option<Self> {
        let mut cause = Some(error);
        while let Some(error) = cause {
            if let Some(unusable) = Self::of_one(error) {
                return Some(unusable);
            }
            cause = error.source();
        }
        None
    }

    fn of_one(error: &(dyn Error + 'static)) -> Option<Self> {
        if let Some(StoreError::Changed) = error.downcast_ref() {
            return Some(Self::Busy);
        }
        if let Some(error) = error.downcast_ref::<rusqlite::Error>() {
            return Self::of_code(*error.sqlite_error()?);
        }
        let full = |error: &io::Error| error.kind() == io::ErrorKind::StorageFull;
        error.downcast_ref().is_some_and(full).then_some(Self::Full)
    }

    fn of_code(error: ffi::Error) -> Option<Self> {
        match error.code {
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => Some(Self::Busy),
            ErrorCode::DiskFull => Some(Self::Full),
            ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase => Some(Self::Damaged),
            // Room for what lies beside the file is asked for in another way.
            _ if error.extended_code == ffi::SQLITE_IOERR_SHMSIZE => Some(Self::Full),
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
        check(ffi::SQLITE_IOERR_READ, None);
        check(ffi::SQLITE_CONSTRAINT, None);
        let full = JournalError::File {
            path: "told.jsonl".into(),
            source: io::ErrorKind::StorageFull.into(),
        };
        assert_eq!(Unusable::of(&full), Some(Unusable::Full));
        assert_eq!(Unusable::of(&StoreError::Changed), Some(Unusable::Busy));
        assert_eq!(Unusable::of(&StoreError::Ended), None);
    }
}
