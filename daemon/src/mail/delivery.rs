//! From the outbox to the recipient: at least once, first in first out for each of them.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::store::outbox::{self, Waiting};
use crate::store::{Store, StoreError};

/// Where mails go.
#[derive(Debug, Clone)]
pub enum Transport {
    /// Into a folder, one `.eml` file each.
    Folder(PathBuf),
}

/// What one round of delivery did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Delivered {
    /// Mails that the transport took over.
    pub sent: usize,
    /// Mails kept for a later try.
    pub kept: usize,
}

/// Pauses after the first, second, … failed try; the last one repeats.
const PAUSES_MIN: [i64; 5] = [1, 5, 15, 60, 240];

/// Sends every mail that may be sent at `now`. A mail is marked as sent only after the transport
/// has it, so a crash in between sends it once more, under the same Message-ID and bytes.
///
/// # Errors
/// When the records cannot be read or written; a mail that cannot be sent is kept instead.
pub async fn deliver(
    store: &Store,
    transport: &Transport,
    now: DateTime<Utc>,
) -> Result<Delivered, StoreError> {
    let mut delivered = Delivered::default();
    while let Some(mail) = store.read(move |c| outbox::next(c, now)).await? {
        let id = mail.message_id.clone();
        store.write(move |t| outbox::count_try(t, &id)).await?;
        let id = mail.message_id.clone();
        match transport.send(&mail) {
            Ok(()) => {
                store.write(move |t| outbox::mark_sent(t, &id, now)).await?;
                delivered.sent += 1;
            }
            Err(error) => {
                tracing::warn!(mail.id = %id, error = %error, "mail kept for a later try");
                let next_try = now + pause(mail.attempts);
                let error = error.to_string();
                store
                    .write(move |t| outbox::keep(t, &id, &error, next_try))
                    .await?;
                delivered.kept += 1;
            }
        }
    }
    Ok(delivered)
}

fn pause(attempts_before: u32) -> TimeDelta {
    let place = usize::try_from(attempts_before).unwrap_or(usize::MAX);
    TimeDelta::minutes(PAUSES_MIN[place.min(PAUSES_MIN.len() - 1)])
}

impl Transport {
    fn send(&self, mail: &Waiting) -> io::Result<()> {
        match self {
            Self::Folder(folder) => {
                let stem = file_stem(mail.day, &mail.kind, &mail.person, &mail.adviser);
                put(folder, &format!("{stem}.eml"), &mail.body).map_err(|error| {
                    io::Error::new(
                        error.kind(),
                        format!("write into {}: {error}", folder.display()),
                    )
                })
            }
        }
    }
}

/// A file name without its ending, made of checked ids only, so that it sorts by day and can be
/// nothing but a name.
pub(crate) fn file_stem(day: NaiveDate, kind: &str, person: &str, adviser: &str) -> String {
    if person == adviser {
        format!("{day}-{kind}-{person}")
    } else {
        format!("{day}-{kind}-{person}-from-{adviser}")
    }
}

/// Writes a file that is there as a whole or not at all, also after a power cut.
fn put(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let unfinished = folder.join(format!(".{name}.part"));
    let mut file = File::create(&unfinished)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(&unfinished, folder.join(name))?;
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_and_then_repeat() {
        let minutes = [0, 1, 2, 3, 4, 5, 99].map(|attempts| pause(attempts).num_minutes());
        assert_eq!(minutes, [1, 5, 15, 60, 240, 240, 240]);
    }

    #[test]
    fn delivering_the_same_mail_twice_leaves_one_file_with_its_bytes() {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("mail");
        put(&folder, "a.eml", b"one").unwrap();
        put(&folder, "a.eml", b"one").unwrap();
        let names: Vec<_> = fs::read_dir(&folder)
            .unwrap()
            .map(|e| e.unwrap().file_name())
            .collect();
        assert_eq!(names, ["a.eml"]);
        assert_eq!(fs::read(folder.join("a.eml")).unwrap(), b"one");
    }
}
