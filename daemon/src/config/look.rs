//! What the files of a configuration look like from outside, to see when one was changed.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Bytes, and when it was changed; `None` for a file that is not there.
pub(crate) type Look = Option<(u64, SystemTime)>;

/// The files that were read, each as it looked before: what is saved during the reading shows afterwards.
pub type Looks = BTreeMap<PathBuf, Look>;

/// What a file looks like now.
pub(crate) fn look(file: &Path) -> Look {
    let data = std::fs::metadata(file).ok()?;
    Some((data.len(), data.modified().ok()?))
}
