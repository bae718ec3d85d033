//! Messages that lie as files in a folder, or in a maildir: those that were answers are moved to `done` beside them,
//! all others stay as they are.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use chrono::{DateTime, Days, Utc};

use super::counter::Counter;
use super::take::{MOST_BYTES, Message};
use crate::crash;
use crate::mail::left::Left;
use crate::mail::mark::ANSWERED_FOR;
use crate::plain_file;
use crate::records::{Pauses, Writers};
use crate::store::StoreError;

/// Where what was done is moved to.
const DONE: &str = "done";
/// Files may be so much older than a mail that they answer, by a clock that was behind.
const CLOCKS_DIFFER: Days = Days::new(15);
/// So many messages are taken in one round, before receipts are written.
const MOST_A_ROUND: usize = 500;

/// Why a folder could not be looked through.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// A file or folder.
    #[error("read or move messages in {path}")]
    Files {
        /// The folder.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The records.
    #[error("take a message")]
    Store(#[from] StoreError),
}

/// What a file looked like when it was left alone.
type Look = (PathBuf, u64, Option<SystemTime>);

/// What was left alone or is done already, so that it is not read again and again.
#[derive(Debug, Default)]
pub struct Seen {
    files: BTreeSet<Look>,
    done_read: bool,
}

/// Takes the messages of a folder: how many were answers. The first time those that were done lately are read again, without
/// receipts, so that after an older database was put back nothing since is lost. One that may still be written waits for
/// the next time.
///
/// # Errors
/// [`FolderError`]; what was not moved by then stays and is no second time entered.
pub async fn look_through(
    counter: &Counter,
    folder: &Path,
    seen: &mut Seen,
    pauses: Pauses,
) -> Result<usize, FolderError> {
    let failed = |source| FolderError::Files {
        path: folder.to_owned(),
        source,
    };
    if !seen.done_read {
        for look in done_lately(folder, counter.clock.now()).map_err(failed)? {
            hand_in(counter, &look, false).await?;
        }
        seen.done_read = true;
    }
    let mut taken = 0;
    for look in whole(folder, seen, pauses).await.map_err(failed)? {
        match hand_in(counter, &look, true).await? {
            None => {
                crash::point("before a message is put away");
                put_away(folder, &look.0).map_err(failed)?;
                taken += 1;
            }
            Some(_) => drop(seen.files.insert(look)),
        }
        if taken >= MOST_A_ROUND {
            break;
        }
    }
    Ok(taken)
}

async fn hand_in(
    counter: &Counter,
    (file, size, _): &Look,
    with_receipt: bool,
) -> Result<Option<Left>, StoreError> {
    let message = match plain_file::read(file, MOST_BYTES) {
        Ok(bytes) => Message::Whole(bytes),
        Err(_) if *size > MOST_BYTES => Message::TooLarge(*size),
        // It may have been taken away since.
        Err(_) => return Ok(Some(Left::NotAMessage)),
    };
    let place = file.display().to_string();
    counter.hand_in_from(&place, message, with_receipt).await
}

/// Messages that were not looked at before and are written whole: those of a maildir, which come there by a move, and
/// others that have not changed between two looks and nobody has open to write.
async fn whole(folder: &Path, seen: &Seen, pauses: Pauses) -> io::Result<Vec<Look>> {
    let fresh = |place: &Path| -> io::Result<Vec<Look>> {
        let mut looks = messages(place)?;
        looks.retain(|look| !seen.files.contains(look));
        Ok(looks)
    };
    let mut found = fresh(folder)?;
    if !found.is_empty() {
        pauses.let_pass(folder).await;
        let again = fresh(folder)?;
        let writers = Writers::of(folder);
        found.retain(|look| again.contains(look) && !writers.have(&look.0));
    }
    found.extend(fresh(&folder.join("new"))?);
    found.extend(fresh(&folder.join("cur"))?);
    Ok(found)
}

/// The messages in a folder, oldest first, so that a correction comes behind what it corrects, also when both are read
/// again; none where there is no folder. In a maildir every file is one, elsewhere what is called so.
fn messages(folder: &Path) -> io::Result<Vec<Look>> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(error),
    };
    let name = folder.file_name().unwrap_or_default();
    let is_maildir = name == "new" || name == "cur" || name == DONE;
    let mut messages = Vec::new();
    for entry in entries {
        let entry = entry?;
        let (path, name) = (entry.path(), entry.file_name());
        let is_message = is_maildir
            || path
                .extension()
                .is_some_and(|end| end.eq_ignore_ascii_case("eml"));
        let is_hidden = name.to_string_lossy().starts_with('.');
        if is_message
            && !is_hidden
            && entry.file_type()?.is_file()
            && let Ok(data) = entry.metadata()
        {
            messages.push((path, data.len(), data.modified().ok()));
        }
    }
    messages
        .sort_by(|(name, _, written), (other, _, before)| (written, name).cmp(&(before, other)));
    Ok(messages)
}

/// Those that are done, but for what is so old that the mail that it answers counts no more.
fn done_lately(folder: &Path, now: DateTime<Utc>) -> io::Result<Vec<Look>> {
    let since = now
        .checked_sub_days(ANSWERED_FOR)
        .and_then(|since| since.checked_sub_days(CLOCKS_DIFFER))
        .map(SystemTime::from);
    let mut done = messages(&folder.join(DONE))?;
    done.retain(|(_, _, written)| written.is_none() || *written >= since);
    Ok(done)
}

/// Moves a message to those that are done, under a name that is free.
fn put_away(folder: &Path, file: &Path) -> io::Result<()> {
    let done = folder.join(DONE);
    fs::create_dir_all(&done)?;
    let name = file
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let names = std::iter::once(name.clone()).chain((2..).map(|n| format!("{n}-{name}")));
    let free = names
        .map(|name| done.join(name))
        .find(|target| !target.exists());
    fs::rename(file, free.unwrap_or_else(|| done.join(name)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_done_long_ago_is_not_read_again() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join(DONE)).unwrap();
        let now = "2022-06-20T12:00:00Z".parse::<DateTime<Utc>>().unwrap();
        for days_ago in [700, 61, 59, 0] {
            let path = folder.path().join(DONE).join(format!("{days_ago}.eml"));
            let written = now.checked_sub_days(Days::new(days_ago)).unwrap();
            let file = fs::File::create(path).unwrap();
            file.set_modified(written.into()).unwrap();
        }
        let again = |now| -> Vec<String> {
            let looks = done_lately(folder.path(), now).unwrap().into_iter();
            looks
                .map(|(path, ..)| path.file_stem().unwrap().to_str().unwrap().to_owned())
                .collect()
        };
        assert_eq!(again(now), ["59", "0"]);
        // By a clock that is behind nothing is old.
        assert_eq!(again(DateTime::UNIX_EPOCH).len(), 4);
        assert_eq!(again(DateTime::<Utc>::MIN_UTC).len(), 4);
    }
}
