//! What must be the same after a run that was disturbed as after one that was not.

use std::fs;
use std::path::Path;

use rusqlite::{Connection, OpenFlags};
use tempfile::TempDir;

use crate::harness::rows;

/// What people entered, what was told and which mails there are, without the instants at which each try was made;
/// of temperatures the days, of jobs and mails what became of them.
const KEPT: [&str; 9] = [
    "SELECT station, day, tmin, tmax, unit, tmin_flag, tmax_flag, feed FROM station_day ORDER BY 1, 2",
    "SELECT station, day, tmin, tmax, unit, feed FROM station_day_history ORDER BY 1, 2, 3, 4",
    "SELECT trap, day, eggs, moths, males, females, readable, serviced, note, eggs_left, entered_by, via, entry_id
     FROM visit ORDER BY 1, 2",
    "SELECT trap, day, eggs, moths, males, females, readable, serviced, note, entered_by, entry_id, why
     FROM visit_history ORDER BY 1, 2, 3",
    "SELECT block, variety, kind, day, note, entered_by, entry_id FROM note ORDER BY 1, 2, 3, 4",
    "SELECT block, variety, kind, day, note, entered_by, entry_id, why FROM note_history ORDER BY 1, 2, 3, 4",
    "SELECT * FROM told ORDER BY 1, 2, 3, 4, 5, 6",
    "SELECT message_id, kind, person, adviser, day, about, subject, state FROM outbox ORDER BY 1",
    "SELECT job, day, state FROM job_run ORDER BY 1, 2",
];

/// The rows of each of these queries.
pub(crate) type Kept = Vec<Vec<Vec<String>>>;

/// What a database keeps, which must be whole. It is looked at without changing anything beside it, as a crash left it.
pub(crate) fn kept(database: &Path) -> Kept {
    let (_dir, database) = as_it_lies(database);
    KEPT.map(|query| rows(&database, query)).to_vec()
}

/// A copy of a database with its log of writes, which must be whole.
pub(crate) fn as_it_lies(database: &Path) -> (TempDir, Connection) {
    let dir = tempfile::tempdir().unwrap();
    let copy = dir.path().join("copy.sqlite");
    fs::copy(database, &copy).unwrap();
    let log = database.to_str().unwrap().to_owned() + "-wal";
    if Path::new(&log).exists() {
        fs::copy(log, dir.path().join("copy.sqlite-wal")).unwrap();
    }
    let copy = Connection::open_with_flags(copy, OpenFlags::SQLITE_OPEN_READ_WRITE).unwrap();
    assert_eq!(rows(&copy, "PRAGMA integrity_check"), [["ok"]]);
    let orphans = rows(&copy, "PRAGMA foreign_key_check");
    assert!(orphans.is_empty(), "{orphans:?}");
    (dir, copy)
}

/// Shows the rows that only one of two has.
pub(crate) fn assert_same(found: &Kept, expected: &Kept, how: &str) {
    for ((found, expected), query) in found.iter().zip(expected).zip(KEPT) {
        let only = |of: &[Vec<String>], other: &[Vec<String>]| -> Vec<String> {
            let rows = of.iter().filter(|row| !other.contains(row)).take(5);
            rows.map(|row| row.join(" ")).collect()
        };
        if found != expected {
            let (new, gone) = (only(found, expected), only(expected, found));
            panic!("{how}: {query}: new {new:?}, gone {gone:?}");
        }
    }
}
