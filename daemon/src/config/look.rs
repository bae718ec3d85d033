//! What the files of a configuration look like from outside, to see when one was changed.

use std::collections::BTreeMap;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Bytes, when it was changed, and which file it is: most programs save into a new one, and two saves may have one size and
/// one tick of the system's clock. `None` for a file that is not there.
pub(crate) type Look = Option<(u64, SystemTime, u64)>;

/// The files that were read, each as it looked before: what is saved during the reading shows afterwards.
pub type Looks = BTreeMap<PathBuf, Look>;

/// What a file looks like now.
pub(crate) fn look(file: &Path) -> Look {
    let data = std::fs::metadata(file).ok()?;
    Some((data.len(), data.modified().ok()?, data.ino()))
}
