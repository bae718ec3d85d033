//! Names of files that lie beside the database.

use std::path::{Path, PathBuf};

/// A file's name with something added to its end.
pub(super) fn beside(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(ending);
    name.into()
}
