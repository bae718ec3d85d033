//! Where a secret may stand, and reading it from there.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use super::reader::Reader;
use crate::config::problem::Problem;
use crate::plain_file;
use crate::secret::Secret;

/// A secret that the program needs, and the names under which it may be handed in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wanted {
    /// What it is, in words.
    pub(super) what: &'static str,
    /// The key of the configuration that names a file with it.
    pub(super) file_key: &'static str,
    /// The file that systemd's `LoadCredential=` makes, in the folder `$CREDENTIALS_DIRECTORY`.
    pub(super) credential: &'static str,
    /// The environment variable.
    pub(super) variable: &'static str,
}

/// Where a secret stands.
pub(super) enum Place {
    /// In a file that the configuration names.
    File(PathBuf),
    /// In `duskflight.toml` itself.
    Inline(Secret),
    /// In a file that the service manager made.
    Credential(PathBuf),
    /// In the environment.
    Variable(String),
}

impl Wanted {
    /// Where it is handed in, if it is.
    pub(super) fn handed_in(&self) -> Option<Place> {
        let folder = std::env::var_os("CREDENTIALS_DIRECTORY");
        let file = folder.map(|folder| Path::new(&folder).join(self.credential));
        if let Some(file) = file.filter(|file| file.exists()) {
            return Some(Place::Credential(file));
        }
        std::env::var(self.variable).ok().map(Place::Variable)
    }

    /// A place as messages name it.
    pub(super) fn words(&self, place: &Place) -> String {
        match place {
            Place::File(_) => self.file_key.to_owned(),
            Place::Inline(_) => "password".to_owned(),
            Place::Credential(_) => format!("the credential {}", self.credential),
            Place::Variable(_) => format!("the environment variable {}", self.variable),
        }
    }

    /// What stands there, with the end of its line.
    ///
    /// # Errors
    /// It cannot be read.
    pub(super) fn text(&self, reader: &mut Reader<'_>, place: &Place) -> Result<String, Problem> {
        let (file, named) = match place {
            Place::File(file) => (reader.dir.join(file), Some(file)),
            Place::Credential(file) => (file.clone(), None),
            Place::Inline(secret) => return Ok(secret.expose().to_owned()),
            Place::Variable(text) => return Ok(text.clone()),
        };
        if let Some(named) = named
            && mode(&file).is_some_and(|mode| mode & 0o007 != 0)
        {
            reader.warn(format!(
                "{} = {}: everybody on this machine can read it; chmod 640",
                self.file_key,
                named.display()
            ));
        }
        plain_file::read_text(&file, plain_file::BY_HAND).map_err(|error| {
            let (what, file) = (self.what, file.display());
            reader.in_main(format!("{what} in {file} cannot be read: {error}"))
        })
    }
}

/// Who may do what with a file.
pub(super) fn mode(path: &Path) -> Option<u32> {
    let metadata = std::fs::metadata(path).ok()?;
    Some(metadata.permissions().mode() & 0o777)
}
