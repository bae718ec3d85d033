//! Checked copies of the database in a folder beside it: one a day, some of the weeks before, one before each
//! change of the schema.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use chrono::{Datelike, NaiveDate};
use rusqlite::{Connection, OpenFlags};

use super::beside::beside;
use super::damage::damage;
use super::disk_space;
use super::error::{CopyError, StoreError};
use super::unusable::Unusable;
use crate::crash;
use crate::plain_file;

/// The folder's name.
const FOLDER: &str = "backups";
/// How a copy's name ends.
const ENDING: &str = ".sqlite";
/// What is added to the name of a copy that is not whole yet.
const UNFINISHED: &str = ".copying";
/// Newest days whose copies are kept.
const DAYS: usize = 7;
/// Weeks before those whose newest copies are kept.
const WEEKS: usize = 4;

/// Copies a database as that of a civil day, in place of an earlier copy of that day, and removes the copies
/// that are no longer kept. Nothing is removed unless the new copy is whole.
///
/// # Errors
/// The database is damaged, or the copy cannot be written; the earlier ones are then as they were.
pub fn of_day(database: &Path, day: NaiveDate) -> Result<PathBuf, StoreError> {
    let copy = match make(database, &day.to_string()) {
        Err(full) if Unusable::of(&full) == Some(Unusable::Full) => {
            let room = fs::metadata(database).map_or(0, |found| found.len());
            match make_room(database, room.saturating_mul(2)) {
                0 => return Err(full),
                removed => tracing::warn!(removed, "no room for a backup: the oldest were removed"),
            }
            make(database, &day.to_string())
        }
        made => made,
    }?;
    let days: BTreeSet<NaiveDate> = days(database).into_iter().collect();
    // A day that has not come was named by a wrong clock, now or then: nothing is removed for its sake.
    let come = days.range(..=day).copied().collect();
    for old in &come - &kept(&come) {
        let path = path_of(database, &old.to_string());
        if let Err(error) = fs::remove_file(&path) {
            tracing::warn!(path = %path.display(), %error, "an old backup cannot be removed");
        }
        crash::point("an old copy is removed");
    }
    Ok(copy)
}

/// Copies a database before its schema is changed, in place of an earlier copy of that schema.
pub(super) fn of_schema(database: &Path, schema: i64) -> Result<PathBuf, StoreError> {
    make(database, &format!("schema-{schema}"))
}

/// The newest copy of a day that has come, where there is one: others were named by a clock that was ahead.
#[must_use]
pub fn newest(database: &Path, today: NaiveDate) -> Option<PathBuf> {
    let come = days(database).into_iter().filter(|day| *day <= today);
    let day = come.max()?;
    Some(path_of(database, &day.to_string()))
}

/// Whether there is no copy of a day yet, nor of a later one.
#[must_use]
pub fn is_owed(database: &Path, day: NaiveDate) -> bool {
    days(database).iter().all(|copied| *copied < day)
}

/// The folder of a database's copies.
#[must_use]
pub fn folder(database: &Path) -> PathBuf {
    database.with_file_name(FOLDER)
}

/// Removes the oldest copies until there is so much room, in bytes, but never the newest one. Gives how many went.
#[must_use]
pub fn make_room(database: &Path, room: u64) -> usize {
    let mut copies = copies(database);
    copies.sort_by_key(|(written, _)| *written);
    copies.pop();
    let lacking = || disk_space::free(database).is_some_and(|free| free < room);
    let removed = |path: &PathBuf| fs::remove_file(path).is_ok();
    let oldest = copies.into_iter().map(|(_, path)| path);
    oldest.take_while(|_| lacking()).filter(removed).count()
}

/// Every copy of a database, with when it was written.
fn copies(database: &Path) -> Vec<(SystemTime, PathBuf)> {
    let prefix = prefix(database);
    let is_copy = |name: &str| name.starts_with(&prefix) && name.ends_with(ENDING);
    let entries = fs::read_dir(folder(database)).into_iter().flatten();
    entries
        .filter_map(|entry| {
            let entry = entry.ok()?;
            let written = entry.metadata().and_then(|found| found.modified()).ok()?;
            is_copy(entry.file_name().to_str()?).then(|| (written, entry.path()))
        })
        .collect()
}

/// Writes, checks and syncs a copy that nobody may read who may not read the original.
pub(super) fn write_copy(file: &Path, to: &Path) -> Result<(), CopyError> {
    plain_file::check(file)?;
    plain_file::create(to)?;
    crash::point("a copy is begun");
    fs::set_permissions(to, fs::metadata(file)?.permissions())?;
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let original = Connection::open_with_flags(file, flags)?;
    // A copy's indices are made anew: damage of the original's would not be seen in it.
    damage(&original)?.map_or(Ok(()), |found| Err(CopyError::Damaged(found)))?;
    original.execute("VACUUM INTO ?1", [to.to_string_lossy()])?;
    crash::point("a copy is written");
    let copy = Connection::open_with_flags(to, flags)?;
    damage(&copy)?.map_or(Ok(()), |found| Err(CopyError::NotWhole(found)))?;
    crash::point("a copy is checked");
    File::open(to)?.sync_all()?;
    crash::point("a copy is on the disk");
    Ok(())
}

/// Makes names in the folder of a file last.
pub(super) fn sync_folder_of(file: &Path) -> std::io::Result<()> {
    let folder = file
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}

fn make(database: &Path, of: &str) -> Result<PathBuf, StoreError> {
    let copy = path_of(database, of);
    let unfinished = beside(&copy, UNFINISHED);
    let made = turn(database).map_err(CopyError::from).and_then(|_turn| {
        let whole = write_copy(database, &unfinished).and_then(|()| {
            fs::rename(&unfinished, &copy)?;
            crash::point("a copy has its name");
            Ok(sync_folder_of(&copy)?)
        });
        // A part of a copy helps nobody; that it stays is no other failure.
        whole.inspect_err(|_| drop(fs::remove_file(&unfinished)))
    });
    match made {
        Ok(()) => Ok(copy),
        Err(source) => Err(StoreError::Copy { path: copy, source }),
    }
}

/// Waits until nobody else makes a copy here, so that none writes into another's, and clears away what a crash
/// left of one. The turn lasts as long as what is given.
fn turn(database: &Path) -> std::io::Result<File> {
    let path = folder(database);
    fs::create_dir_all(&path)?;
    let folder = File::open(&path)?;
    folder.lock()?;
    let prefix = prefix(database);
    for entry in fs::read_dir(&path)? {
        let entry = entry?;
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with(&prefix) && name.contains(UNFINISHED) {
            fs::remove_file(entry.path())?;
        }
    }
    Ok(folder)
}

/// Farms may share a folder, so a copy has its database's name first.
fn path_of(database: &Path, of: &str) -> PathBuf {
    folder(database).join(format!("{}{of}{ENDING}", prefix(database)))
}

fn prefix(database: &Path) -> String {
    let stem = database.file_stem().unwrap_or_default();
    format!("{}-", stem.to_string_lossy())
}

/// Days of which there are copies; none where the folder cannot be read.
fn days(database: &Path) -> Vec<NaiveDate> {
    let prefix = prefix(database);
    let day = |name: &str| {
        let day = name.strip_prefix(&prefix)?.strip_suffix(ENDING)?;
        day.parse().ok()
    };
    let entries = fs::read_dir(folder(database)).into_iter().flatten();
    entries
        .filter_map(|entry| day(entry.ok()?.file_name().to_str()?))
        .collect()
}

/// Of days with copies those whose copies are kept: the newest, and of the weeks before each one's newest.
fn kept(days: &BTreeSet<NaiveDate>) -> BTreeSet<NaiveDate> {
    let mut kept: BTreeSet<NaiveDate> = days.iter().rev().take(DAYS).copied().collect();
    let mut weeks = BTreeSet::new();
    let newest_of_week = |day: &&NaiveDate| weeks.insert(day.iso_week());
    let of_weeks = days.iter().rev().filter(newest_of_week);
    let before: Vec<NaiveDate> = of_weeks
        .filter(|day| !kept.contains(day))
        .take(WEEKS)
        .copied()
        .collect();
    kept.extend(before);
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::opening::create_connection;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// What is left once each day up to `last` had its turn.
    fn left(first: &str, last: &str, without: &[&str]) -> Vec<String> {
        let mut days = BTreeSet::new();
        for day in day(first).iter_days().take_while(|d| *d <= day(last)) {
            if !without.contains(&day.to_string().as_str()) {
                days.insert(day);
                days = kept(&days);
            }
        }
        days.iter()
            .map(|day| day.format("%m-%d").to_string())
            .collect()
    }

    #[test]
    fn seven_days_and_the_last_day_of_four_weeks_before_are_kept() {
        // 26 June 2022 is a Sunday.
        let of_sunday = [
            "05-22", "05-29", "06-05", "06-12", "06-19", "06-20", "06-21", "06-22", "06-23",
            "06-24", "06-25", "06-26",
        ];
        assert_eq!(
            left("2022-01-01", "2022-06-26", &[]),
            of_sunday[1..].to_vec()
        );
        let of_wednesday = [
            "05-22", "05-29", "06-05", "06-12", "06-16", "06-17", "06-18", "06-19", "06-20",
            "06-21", "06-22",
        ];
        assert_eq!(left("2022-01-01", "2022-06-22", &[]), of_wednesday);
        let few = ["06-20", "06-21", "06-22"];
        assert_eq!(left("2022-06-20", "2022-06-22", &[]), few);
        let holes = left("2022-06-01", "2022-06-26", &["2022-06-12", "2022-06-25"]);
        let expected = [
            "06-05", "06-11", "06-19", "06-20", "06-21", "06-22", "06-23", "06-24", "06-26",
        ];
        assert_eq!(holes, expected);
    }

    #[test]
    fn a_clock_gone_astray_removes_no_copy() {
        let dir = tempfile::tempdir().unwrap();
        let database = dir.path().join("records.sqlite");
        let _open = create_connection(&database).unwrap();
        for n in 10..20 {
            of_day(&database, day(&format!("2022-06-{n}"))).unwrap();
        }
        let before = days(&database).len();
        of_day(&database, day("2000-01-01")).unwrap();
        assert_eq!(days(&database).len(), before + 1);
        of_day(&database, day("2022-06-20")).unwrap();
        assert!(
            newest(&database, day("2022-06-20"))
                .unwrap()
                .ends_with("records-2022-06-20.sqlite")
        );
        // What is named by a day that has not come is not the newest.
        assert!(
            newest(&database, day("2022-06-19"))
                .unwrap()
                .ends_with("records-2022-06-19.sqlite")
        );
        assert_eq!(newest(&database, day("1999-12-31")), None);
        assert!(days(&database).len() <= DAYS + WEEKS);
    }

    #[test]
    fn what_a_crash_left_of_a_copy_is_never_one_and_is_cleared_away() {
        let dir = tempfile::tempdir().unwrap();
        let database = dir.path().join("records.sqlite");
        drop(create_connection(&database).unwrap());
        let first = of_day(&database, day("2022-06-10")).unwrap();
        let half = &fs::read(&first).unwrap()[..8192];
        let left = folder(&database).join("records-2022-06-11.sqlite.copying");
        fs::write(&left, half).unwrap();
        fs::write(beside(&left, "-journal"), half).unwrap();
        assert_eq!(newest(&database, day("2022-06-12")), Some(first));
        let second = of_day(&database, day("2022-06-12")).unwrap();
        assert_eq!(newest(&database, day("2022-06-12")), Some(second));
        assert_eq!(fs::read_dir(folder(&database)).unwrap().count(), 2);
    }

    #[test]
    fn a_damaged_database_takes_the_place_of_no_copy() {
        let dir = tempfile::tempdir().unwrap();
        let database = dir.path().join("records.sqlite");
        drop(create_connection(&database).unwrap());
        let copy = of_day(&database, day("2022-06-10")).unwrap();
        let whole = fs::read(&copy).unwrap();
        let mut bytes = fs::read(&database).unwrap();
        // A page of the inside.
        bytes[8192..12288].fill(0xa5);
        fs::write(&database, bytes).unwrap();
        let error = of_day(&database, day("2022-06-10")).unwrap_err();
        assert!(matches!(error, StoreError::Copy { .. }), "{error:?}");
        assert_eq!(fs::read(&copy).unwrap(), whole);
        assert_eq!(fs::read_dir(folder(&database)).unwrap().count(), 1);
    }
}
