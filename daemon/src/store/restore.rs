//! Putting a copy in the place of the database.

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::backup::{sync_folder_of, write_copy};
use super::beside::beside;
use super::error::{CopyError, StoreError};
use super::in_use::InUse;
use super::opening::check_to_read;
use super::unusable::Unusable;
use crate::crash;
use crate::error_chain::error_chain;

/// Puts a copy in the place of a database that nobody has open, once the copy is known to be whole and of a schema
/// this version knows. What was there is kept under a name that says when, with its log of writes; gives that name
/// where there was anything.
///
/// # Errors
/// Somebody writes to the database; the copy is missing, damaged, empty or of a newer schema, and nothing was changed; or a file cannot be moved, and
/// the same once more goes on from there.
pub fn restore(
    database: &Path,
    copy: &Path,
    now: DateTime<Utc>,
) -> Result<Option<PathBuf>, StoreError> {
    let _alone = InUse::alone(database)?;
    let no_copy = |why: String| StoreError::NoCopy {
        path: copy.to_owned(),
        why,
    };
    check_to_read(copy).map_err(|error| match error {
        StoreError::Missing { .. } => no_copy("it is not there".to_owned()),
        error => no_copy(error_chain(&error)),
    })?;
    let ready = beside(database, ".restoring");
    let aside = free_name(database, now);
    let failed = |source| StoreError::Restore {
        path: database.to_owned(),
        source,
    };
    if let Err(source) = write_copy(copy, &ready) {
        // A part of a copy helps nobody; that it stays is no other failure.
        let _ = fs::remove_file(&ready);
        let damaged = matches!(source, CopyError::Damaged(_))
            || Unusable::of(&source) == Some(Unusable::Damaged);
        return Err(match damaged {
            true => no_copy(error_chain(&source)),
            false => failed(source),
        });
    }
    put_aside(database, &aside)
        .and_then(|kept| {
            fs::rename(&ready, database)?;
            crash::point("the copy is in its place");
            sync_folder_of(database)?;
            Ok(kept.then_some(aside))
        })
        .map_err(|error| failed(CopyError::File(error)))
}

/// The name under which a database is kept that is replaced now. Another one that has the same second, as where the same
/// is done once more, is not written over.
fn free_name(database: &Path, now: DateTime<Utc>) -> PathBuf {
    let aside = beside(database, &now.format(".before-%Y%m%dT%H%M%SZ").to_string());
    let is_free = |name: &PathBuf| !name.exists() && !beside(name, "-wal").exists();
    let others = (2..).map(|number| beside(&aside, &format!("-{number}")));
    let mut names = std::iter::once(aside.clone()).chain(others);
    names
        .find(is_free)
        .expect("there is a number that is not taken")
}

/// Moves a database with its log of writes, the log last: without its database it is read by nobody. Gives whether
/// there was a database.
fn put_aside(database: &Path, aside: &Path) -> std::io::Result<bool> {
    let there = |moved: std::io::Result<()>| match moved {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(false),
        moved => moved.map(|()| true),
    };
    let kept = there(fs::rename(database, aside))?;
    crash::point("the database is put aside");
    there(fs::rename(beside(database, "-wal"), beside(aside, "-wal")))?;
    crash::point("its log is put aside");
    there(fs::remove_file(beside(database, "-shm")))?;
    crash::point("nothing lies in its place");
    Ok(kept)
}
