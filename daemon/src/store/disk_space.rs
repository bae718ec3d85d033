//! Room on the disk where the database lies.

use std::path::Path;

/// Less room than this is told: a night's records take a few megabytes, a copy of the database more.
const LOW_MB: u64 = 500;
/// With less room than this, in bytes, nothing is begun once the disk was full: the log of writes alone may grow so
/// large before it is written into the file.
pub const LEAST: u64 = 8_000_000;

/// That room runs out, in one line; `None` while there is enough, and where it cannot be known.
#[must_use]
pub fn trouble(database: &Path) -> Option<String> {
    free_mb(database).and_then(low)
}

/// Room for this program, in megabytes of a million bytes.
#[must_use]
pub fn free_mb(database: &Path) -> Option<u64> {
    free(database).map(|bytes| bytes / 1_000_000)
}

/// Room for this program, in bytes.
pub(super) fn free(database: &Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(database.parent()?).ok()?;
    Some(disk.f_bavail.saturating_mul(disk.f_frsize))
}

/// Whether there is too little room for anything to be recorded: not known to be is not.
#[must_use]
pub fn is_used_up(database: &Path) -> bool {
    free(database).is_some_and(|bytes| bytes < LEAST)
}

fn low(free_mb: u64) -> Option<String> {
    (free_mb < LOW_MB).then(|| {
        format!(
            "the disk is nearly full: {free_mb} MB are free where the records lie; when it is full, nothing \
             more can be recorded or told"
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn room_is_told_when_it_is_low() {
        assert_eq!(low(LOW_MB), None);
        assert!(low(12).is_some_and(|line| line.contains("12 MB")));
    }

    #[test]
    fn the_room_of_a_folder_is_known() {
        let dir = tempfile::tempdir().unwrap();
        assert!(free_mb(&dir.path().join("records.sqlite")).is_some_and(|mb| mb > 0));
    }
}
