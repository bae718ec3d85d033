//! Who has files of a folder open for writing, as far as the system tells.

use std::collections::BTreeSet;
use std::fs;
use std::io::ErrorKind;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// The first of the system's spaces of processes: from another one, writers outside of it are not seen.
const FIRST_PROCESSES: &str = "pid:[4026531836]";
/// File systems of this machine alone, by the number that `statfs` gives: ext, XFS, Btrfs, F2FS, ZFS, a
/// layered one, memory. On any other a writer may sit at another machine.
const LOCAL: [u64; 7] = [
    0xEF53,
    0x5846_5342,
    0x9123_683E,
    0xF2F5_2010,
    0x2FC1_2FC1,
    0x794C_7630,
    0x0102_1994,
];
/// Digits of an open file's flags that say how it was opened; zero is for reading.
const ACCESS: u32 = 0o3;

/// Files of a folder that somebody has open for writing.
#[derive(Debug, Default)]
pub(crate) struct Writers {
    written: BTreeSet<(u64, u64)>,
    /// Whether every process that could write there was looked at.
    pub(super) all_seen: bool,
}

impl Writers {
    /// Looks at every process that may be looked at.
    pub(crate) fn of(folder: &Path) -> Self {
        let mut writers = Self::default();
        let place = fs::canonicalize(folder).unwrap_or_else(|_| folder.to_owned());
        let mut all_seen = is_local(folder) && sees_all_processes();
        let processes = fs::read_dir("/proc").into_iter().flatten().flatten();
        for process in processes {
            let name = process.file_name();
            if name.to_string_lossy().parse::<u32>().is_ok() {
                all_seen &= writers.add(&process.path(), &place);
            }
        }
        writers.all_seen = all_seen;
        writers
    }

    /// Whether somebody is known to have a file open for writing.
    pub(crate) fn have(&self, file: &Path) -> bool {
        fs::metadata(file).is_ok_and(|data| self.written.contains(&(data.dev(), data.ino())))
    }

    /// Adds what a process writes; whether it could be looked at. One that has ended writes nothing.
    fn add(&mut self, process: &Path, folder: &Path) -> bool {
        let open = match fs::read_dir(process.join("fd")) {
            Ok(open) => open,
            Err(error) => return error.kind() == ErrorKind::NotFound,
        };
        for open in open.flatten() {
            // By name first: to ask for more of a file on a share that is away may take for ever.
            let in_folder = fs::read_link(open.path()).is_ok_and(|file| is_alike(&file, folder));
            if in_folder
                && is_for_writing(&process.join("fdinfo").join(open.file_name()))
                && let Ok(data) = fs::metadata(open.path())
            {
                self.written.insert((data.dev(), data.ino()));
            }
        }
        true
    }
}

/// Whether a file lies in a folder of this name, wherever that is mounted for its writer.
fn is_alike(file: &Path, folder: &Path) -> bool {
    file.parent().and_then(Path::file_name) == folder.file_name()
}

fn is_for_writing(info: &Path) -> bool {
    let info = fs::read_to_string(info).unwrap_or_default();
    let flags = info.lines().find_map(|line| line.strip_prefix("flags:"));
    let flags = flags.and_then(|flags| u32::from_str_radix(flags.trim(), 8).ok());
    flags.is_some_and(|flags| flags & ACCESS != 0)
}

fn sees_all_processes() -> bool {
    fs::read_link("/proc/self/ns/pid").is_ok_and(|space| space == Path::new(FIRST_PROCESSES))
        && Path::new("/proc/1").exists()
}

#[cfg(target_os = "linux")]
fn is_local(folder: &Path) -> bool {
    rustix::fs::statfs(folder)
        .ok()
        .and_then(|system| u64::try_from(system.f_type).ok())
        .is_some_and(|kind| LOCAL.contains(&kind))
}

#[cfg(not(target_os = "linux"))]
fn is_local(_: &Path) -> bool {
    false
}
