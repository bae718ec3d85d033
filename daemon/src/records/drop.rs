//! The watched folder: a sheet dropped there is imported and moved to `done`, or moved to `refused`
//! beside a text that says why.
//!
//! Nothing is overwritten or lost: a file leaves the folder only once it is stored or refused, under a
//! name that was free. A crash before the move imports the same file once more, which changes nothing.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs::{self, DirEntry, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use csv::StringRecord;

use super::writers::Writers;
use super::{ImportError, Imported, Kind, Origin, import};
use crate::clock::Clock;
use crate::config::{Config, DropFolder, option_for};
use crate::crash;
use crate::plain_file::{self, other_than_file};
use crate::sheet::{Given, NoSheet};
use crate::store::{Store, StoreError};

/// Folders inside the watched one.
const DONE: &str = "done";
const REFUSED: &str = "refused";
/// What names of sheets end with.
const FORMS: [&str; 4] = [".csv", ".tsv", ".xlsx", ".ods"];
/// What the name of the text that says why ends with.
const WHY: &str = ".why.txt";
/// A larger file is no sheet that people filled in: a hundred thousand visits take about 4 MB.
const MOST_BYTES: u64 = plain_file::BY_HAND;
/// A file whose last row is open, unchanged for so long, is not being written any more.
const GIVEN_UP: Duration = Duration::from_secs(3600);

/// How long lies between two looks at a file that must find it the same.
#[derive(Debug, Clone, Copy)]
pub struct Pauses {
    /// Where the system tells that nobody has it open for writing.
    pub seen: Duration,
    /// Where it does not tell of everybody: a network share, or processes of others.
    pub unseen: Duration,
}

impl Pauses {
    /// For a program that runs on.
    pub const RUNNING: Self = Self {
        seen: Duration::from_secs(3),
        unseen: Duration::from_secs(60),
    };
    /// For whoever wrote the files and is done.
    pub const NONE: Self = Self {
        seen: Duration::ZERO,
        unseen: Duration::ZERO,
    };
    /// For a command that somebody waits for.
    pub const ONCE: Self = Self {
        seen: Duration::from_secs(3),
        unseen: Duration::from_secs(3),
    };

    /// Lets the time pass after which a file of a folder must look the same.
    pub(crate) async fn let_pass(self, folder: &Path) {
        let pause = match Writers::of(folder).all_seen {
            true => self.seen,
            false => self.unseen,
        };
        tokio::time::sleep(pause).await;
    }
}

/// Why the folder could not be looked through.
#[derive(Debug, thiserror::Error)]
pub enum DropError {
    /// A file or folder.
    #[error("read or move files in {path}")]
    Folder {
        /// The watched folder.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The records.
    #[error("store a dropped file")]
    Store(#[from] StoreError),
}

/// A file that was taken out of the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Its name in the folder.
    pub name: String,
    /// What became of it.
    pub outcome: Outcome,
}

/// What became of a dropped file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It is stored.
    Imported(Imported),
    /// Nothing of it is stored, and why.
    Refused(String),
}

/// Imports what was dropped, has not changed between two looks, is open for writing to nobody known and
/// is whole; what is still being written waits for the next time.
///
/// # Errors
/// [`DropError`]; what was not moved by then stays in the folder.
pub async fn take_in(
    store: &Store,
    config: &Config,
    pauses: Pauses,
    clock: &Arc<dyn Clock>,
) -> Result<Vec<Taken>, DropError> {
    let Some(folder) = &config.drop_folder else {
        return Ok(Vec::new());
    };
    let failed = |source| DropError::Folder {
        path: folder.path.clone(),
        source,
    };
    let before = sheets(&folder.path).map_err(failed)?;
    if before.is_empty() {
        return Ok(Vec::new());
    }
    pauses.let_pass(&folder.path).await;
    let settled = sheets(&folder.path).map_err(failed)?;
    let writers = Writers::of(&folder.path);
    let mut taken = Vec::new();
    for (file, look) in settled {
        if before.get(&file) != Some(&look) || writers.have(&file) {
            continue;
        }
        if let Some(outcome) = outcome(store, config, folder, (&file, look.0), clock).await? {
            put_away(folder, &file, &outcome).map_err(failed)?;
            let name = name_of(&file);
            taken.push(Taken { name, outcome });
        }
    }
    Ok(taken)
}

/// What a file looks like from outside: bytes, and when it was changed.
type Look = (u64, Option<SystemTime>);

/// The sheets that lie in a folder: plain files whose name ends as one of [`FORMS`], not those that a leading dot
/// hides while something writes them.
fn sheets(folder: &Path) -> io::Result<BTreeMap<PathBuf, Look>> {
    let mut sheets = BTreeMap::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if !is_named_as_sheet(&entry) || !entry.file_type()?.is_file() {
            continue;
        }
        // It may have been taken away since.
        if let Ok(data) = entry.metadata() {
            sheets.insert(entry.path(), (data.len(), data.modified().ok()));
        }
    }
    Ok(sheets)
}

/// Names of what is called like a sheet and is no plain file: nothing of it is ever read.
fn others_than_files(folder: &Path) -> io::Result<Vec<String>> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if let (true, Some(what)) = (
            is_named_as_sheet(&entry),
            other_than_file(entry.file_type()?),
        ) {
            names.push(format!("{} is {what}", name_of(&entry.path())));
        }
    }
    names.sort();
    Ok(names)
}

fn is_named_as_sheet(entry: &DirEntry) -> bool {
    let name = entry.file_name().to_string_lossy().to_lowercase();
    let is_sheet = FORMS.iter().any(|form| name.ends_with(form));
    // Spreadsheets keep such a file beside one that they have open.
    is_sheet && !name.starts_with(['.', '~'])
}

/// Whether a file is what was read of it: somebody may have gone on writing meanwhile.
fn is_still(file: &Path, bytes: &[u8]) -> bool {
    plain_file::read(file, MOST_BYTES).is_ok_and(|now| now == bytes)
}

/// Whether somebody may still be at a file, by its own time, which may lie ahead of ours.
fn has_changed_lately(file: &Path) -> bool {
    let changed = fs::metadata(file).and_then(|data| data.modified());
    changed.is_ok_and(|changed| {
        let since = changed.elapsed().unwrap_or_else(|ahead| ahead.duration());
        since < GIVEN_UP
    })
}

/// Stores a file of so many bytes or finds out why not; `None` for one that is gone or is written on
/// meanwhile, which is looked at again.
async fn outcome(
    store: &Store,
    config: &Config,
    folder: &DropFolder,
    (file, bytes): (&Path, u64),
    clock: &Arc<dyn Clock>,
) -> Result<Option<Outcome>, StoreError> {
    let name = name_of(file);
    let refused = |why: &str| {
        let why = format!("import {name}; nothing of it was stored: {why}");
        Ok(Some(Outcome::Refused(why)))
    };
    if bytes > MOST_BYTES {
        return refused("it is too large for a sheet of visits or notes");
    }
    let bytes = match plain_file::read(file, MOST_BYTES) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return refused(&format!("it cannot be read: {error}")),
    };
    let given = match whole(&bytes) {
        Ok(given) => given,
        Err(no) if no.is_part && has_changed_lately(file) => return Ok(None),
        Err(no) => return refused(&no.why),
    };
    let Some(kind) = given.headers().find_map(|header| kind_of(&header)) else {
        return refused("its first row names the columns of neither visits nor notes");
    };
    let origin = Origin {
        file: name.clone(),
        by: folder.by.clone(),
        sure: false,
    };
    let outcome = match import(store, config, kind, &bytes, &origin, clock).await {
        Ok(imported) => Outcome::Imported(imported),
        Err(ImportError::Store(error)) => return Err(error),
        Err(error @ ImportError::Rows { .. }) => {
            Outcome::Refused(with_way_in(&error, kind, config))
        }
    };
    Ok(is_still(file, &bytes).then_some(outcome))
}

/// Why a sheet is refused, and how it comes in where it is right after all.
fn with_way_in(error: &ImportError, kind: Kind, config: &Config) -> String {
    let asked = |error: &ImportError| match error {
        ImportError::Rows { problems, .. } => problems.iter().any(|problem| problem.doubted),
        ImportError::Store(_) => false,
    };
    let (command, option) = (kind.command(), option_for(&config.dir));
    match asked(error) {
        true => format!(
            "{error}\nwhat is right as it stands is brought in by hand: duskflight {command} import\
             {option} --sure FILE"
        ),
        false => error.to_string(),
    }
}

/// A sheet that was not cut off, or why it cannot be read: a workbook has its end within, text a line end.
fn whole(bytes: &[u8]) -> Result<Given<'_>, NoSheet> {
    let given = Given::of(bytes)?;
    match given.is_workbook() || ends_with_line(bytes) {
        true => Ok(given),
        false => Err(NoSheet {
            why: "its last row has no line end, so it may be cut off: save it once more".to_owned(),
            is_part: true,
        }),
    }
}

fn ends_with_line(bytes: &[u8]) -> bool {
    // The zero is the second half of a line end in UTF-16.
    let text = bytes.strip_suffix(b"\0").unwrap_or(bytes);
    text.ends_with(b"\n") || text.ends_with(b"\r")
}

/// Visits or notes, by the columns that a header names and only one of them has.
fn kind_of(header: &StringRecord) -> Option<Kind> {
    let names: Vec<String> = header.iter().map(str::to_lowercase).collect();
    let of = |kind: Kind, other: Kind| {
        let own = kind.columns().iter();
        let own = own.filter(|column| !other.columns().contains(column));
        own.filter(|column| names.iter().any(|name| name == *column))
            .count()
    };
    let visits = of(Kind::Visits, Kind::Notes);
    let notes = of(Kind::Notes, Kind::Visits);
    match visits.cmp(&notes) {
        std::cmp::Ordering::Greater => Some(Kind::Visits),
        std::cmp::Ordering::Less => Some(Kind::Notes),
        std::cmp::Ordering::Equal => None,
    }
}

/// Moves a file to where its outcome belongs.
fn put_away(folder: &DropFolder, file: &Path, outcome: &Outcome) -> io::Result<()> {
    let (place, why) = match outcome {
        Outcome::Imported(_) => (DONE, None),
        Outcome::Refused(why) => (REFUSED, Some(why)),
    };
    let place = folder.path.join(place);
    fs::create_dir_all(&place)?;
    let mut number = 1;
    let target = loop {
        let name = numbered(file, number);
        let target = place.join(&name);
        if is_mine(&target, "")? {
            let Some(why) = why else { break target };
            if is_mine(&place.join(with_why(&name)), &format!("{why}\n"))? {
                break target;
            }
            fs::remove_file(&target)?;
        }
        number += 1;
    };
    crash::point("before a sheet is put away");
    fs::rename(file, &target).inspect_err(|_| {
        // The empty file that kept the name; what it was kept for stays where it is.
        let _ = fs::remove_file(&target);
    })
}

/// Makes a new file with a text; whether the name was free.
fn is_mine(path: &Path, text: &str) -> io::Result<bool> {
    match OpenOptions::new().write(true).create_new(true).open(path) {
        Ok(mut file) => file.write_all(text.as_bytes()).map(|()| true),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => Ok(false),
        Err(error) => Err(error),
    }
}

/// `round.csv`, `round-2.csv`, `round-3.csv`, …
fn numbered(file: &Path, number: usize) -> OsString {
    let mut name = file.file_stem().unwrap_or_default().to_owned();
    if number > 1 {
        name.push(format!("-{number}"));
    }
    if let Some(form) = file.extension() {
        name.push(".");
        name.push(form.to_ascii_lowercase());
    }
    name
}

fn with_why(name: &OsString) -> OsString {
    let mut name = name.clone();
    name.push(WHY);
    name
}

/// A name for people: what would not print is written as its code.
fn name_of(file: &Path) -> String {
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    name.escape_debug().to_string()
}

/// Dropped files that were refused and lie there still, or that the folder cannot be read, in one line.
#[must_use]
pub fn dropped_trouble(folder: &DropFolder) -> Option<String> {
    let (refused, others) = match (refused(folder), others_than_files(&folder.path)) {
        (Ok(refused), Ok(others)) => (refused, others),
        (Err(error), _) | (_, Err(error)) => {
            let path = folder.path.display();
            return Some(format!("dropped files are not read: {path}: {error}"));
        }
    };
    let refused = (!refused.is_empty()).then(|| {
        format!(
            "dropped files were refused, nothing of them is stored: {}; why stands beside each in the \
             folder refused",
            refused.join(", ")
        )
    });
    let others = (!others.is_empty()).then(|| {
        let names = others.join(", ");
        format!("not read, since only files are: {names}; take it out of the drop folder")
    });
    let both: Vec<String> = refused.into_iter().chain(others).collect();
    (!both.is_empty()).then(|| both.join("; "))
}

/// Names of the refused files that nobody has taken away yet, sorted.
fn refused(folder: &DropFolder) -> io::Result<Vec<String>> {
    fs::read_dir(&folder.path)?;
    let entries = match fs::read_dir(folder.path.join(REFUSED)) {
        Ok(entries) => entries,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(error),
    };
    let mut names = Vec::new();
    for entry in entries {
        let name = name_of(&entry?.path());
        names.extend((!name.ends_with(WHY)).then_some(name));
    }
    names.sort();
    Ok(names)
}

/// Whether files can be made and moved in the folder, tried with a file that is taken away again.
///
/// # Errors
/// Why they cannot.
pub fn try_out(folder: &DropFolder) -> io::Result<()> {
    let trial = folder.path.join(".duskflight-trial");
    plain_file::write(&trial, "")?;
    fs::remove_file(&trial)
}
