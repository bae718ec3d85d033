//! What threatens records by the place where they lie.

use std::fs;
use std::path::Path;

/// File systems behind which another machine or program writes, by the number that `statfs` gives (Linux manual, statfs(2)),
/// with what they are.
const SHARES: [(u64, &str); 8] = [
    // NFS.
    (0x6969, NETWORK),
    // SMB, CIFS and SMB2.
    (0x517B, NETWORK),
    (0xFF53_4D42, NETWORK),
    (0xFE53_4D42, NETWORK),
    // 9P, AFS and Ceph.
    (0x0102_1997, NETWORK),
    (0x5346_414F, NETWORK),
    (0x00C3_6400, NETWORK),
    (
        0x6573_5546,
        "on a file system of another program (FUSE), often a network share",
    ),
];
const NETWORK: &str = "on a network share";
/// How hidden names begin that programs leave which carry files from one machine to another.
const SYNC_MARKS: [&str; 3] = ["sync", "stfolder", "stversions"];

/// What threatens a database by its place, each in one line.
#[must_use]
pub fn threats(database: &Path) -> Vec<String> {
    let Some(folder) = database
        .parent()
        .and_then(|folder| fs::canonicalize(folder).ok())
    else {
        return Vec::new();
    };
    let shown = folder.display();
    let share = share(&folder).map(|what| {
        format!(
            "the records in {shown} lie {what}: locks may fail there and the database be damaged; name a disk of this \
             machine in [store] file"
        )
    });
    let synced = folder.ancestors().find_map(sync_mark).map(|mark| {
        format!(
            "the records in {shown} lie in a folder that another program seems to carry to other machines ({mark} is \
             there): copies taken while it is written are damaged; name a folder outside in [store] file"
        )
    });
    share.into_iter().chain(synced).collect()
}

#[cfg(target_os = "linux")]
fn share(folder: &Path) -> Option<&'static str> {
    let kind = rustix::fs::statfs(folder).ok()?.f_type;
    share_of(u64::try_from(kind).ok()?)
}

#[cfg(not(target_os = "linux"))]
fn share(_: &Path) -> Option<&'static str> {
    None
}

fn share_of(kind: u64) -> Option<&'static str> {
    let mut shares = SHARES.iter();
    shares.find(|share| share.0 == kind).map(|share| share.1)
}

/// What such a program left in a folder.
fn sync_mark(folder: &Path) -> Option<String> {
    let names = fs::read_dir(folder).ok()?.flatten();
    let mut paths = names.map(|entry| entry.path());
    let mark = paths.find(|path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        is_sync_mark(&name)
    })?;
    Some(mark.display().to_string())
}

fn is_sync_mark(name: &str) -> bool {
    let hidden = name
        .strip_prefix('.')
        .map(|name| name.trim_start_matches('_').to_lowercase());
    hidden.is_some_and(|name| SYNC_MARKS.iter().any(|mark| name.starts_with(mark)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_that_is_carried_to_other_machines_is_named_from_any_folder_below() {
        let dir = tempfile::tempdir().unwrap();
        let below = dir.path().join("farm/records");
        fs::create_dir_all(&below).unwrap();
        let database = below.join("duskflight.sqlite");
        assert_eq!(threats(&database), [""; 0]);
        fs::create_dir(dir.path().join(".stfolder")).unwrap();
        let found = threats(&database);
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].contains("/.stfolder is there"), "{found:?}");
    }

    #[test]
    fn hidden_marks_are_told_from_other_names() {
        for mark in [
            ".sync",
            ".sync_4f2a.db",
            "._sync_4f2a.db",
            ".SyncID",
            ".stfolder",
        ] {
            assert!(is_sync_mark(mark), "{mark}");
        }
        for other in [
            "sync",
            "duskflight.sqlite",
            ".rsync-filter",
            ".asyncrc",
            ".git",
            ".",
        ] {
            assert!(!is_sync_mark(other), "{other}");
        }
    }

    #[test]
    fn shares_are_told_from_disks() {
        for share in [0x6969, 0xFF53_4D42, 0xFE53_4D42, 0x517B] {
            assert_eq!(share_of(share), Some("on a network share"));
        }
        assert!(share_of(0x6573_5546).is_some_and(|what| what.contains("FUSE")));
        // ext4 and memory.
        assert_eq!((share_of(0xEF53), share_of(0x0102_1994)), (None, None));
    }
}
