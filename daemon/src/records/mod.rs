//! The one way in for what people write down: trap visits and field notes, from CSV.
//!
//! A file is taken whole or not at all. Every row is checked against what the farm declares, and
//! everything that is wrong is said at once, with row, column and value.

mod notes;
mod round;
mod visits;

pub use round::round_csv;

use chrono::{DateTime, Utc};
use duskflight_core::orchard::Orchard;
use sha2::{Digest, Sha256};

use crate::config::Config;
use crate::sheet::Fault;
use crate::store::visits::{Applied, Entry};
use crate::store::{self, Store, StoreError};

/// What kind of record a file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Trap visits: `date,trap,eggs,moths,males,females,readable,serviced,note`.
    Visits,
    /// Field notes: `date,block,variety,kind,value,note`.
    Notes,
}

/// How many rows of a file did what.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Imported {
    /// New records.
    pub added: usize,
    /// Records that replaced an older entry.
    pub changed: usize,
    /// Rows that were there already.
    pub unchanged: usize,
    /// Rows entered before that a later entry has replaced since; that one stands.
    pub superseded: usize,
    /// Rows of a round sheet that were left blank.
    pub blank: usize,
}

/// Where a file comes from.
#[derive(Debug, Clone)]
pub struct Origin {
    /// Its name, without folders.
    pub file: String,
    /// Who enters it.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
}

/// Why a file was not imported.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// Rows are wrong; nothing was stored.
    #[error("import {file}; nothing of it was stored:{}", list(problems))]
    Rows {
        /// The file.
        file: String,
        /// Everything that is wrong.
        problems: Vec<Fault>,
    },
    /// The records cannot be written.
    #[error("store the rows")]
    Store(#[source] StoreError),
}

fn list(problems: &[Fault]) -> String {
    problems.iter().map(|p| format!("\n  {p}")).collect()
}

/// Checks a file's text and stores its rows in one transaction.
///
/// # Errors
/// [`ImportError::Rows`] with everything that is wrong; then nothing of the file is stored.
pub async fn import(
    store: &Store,
    config: &Config,
    kind: Kind,
    text: &str,
    origin: &Origin,
) -> Result<Imported, ImportError> {
    let today = config.day_of(origin.at);
    let orchard = config.orchard_on(today);
    let rows = parse(kind, text, &orchard, today, origin)?;
    let file_hash = hash(&[text.as_bytes()]);
    let origin = origin.clone();
    store
        .write(move |transaction| {
            let mut imported = Imported::default();
            for (place, record) in rows.iter().enumerate() {
                let entry = Entry {
                    at: origin.at,
                    by: origin.by.clone(),
                    via: format!("import {}", origin.file),
                    id: format!("{file_hash}:{}", place + 1),
                };
                let Some(record) = record else {
                    imported.blank += 1;
                    continue;
                };
                let applied = match record {
                    Record::Visit(visit) => store::visits::apply(transaction, visit, &entry)?,
                    Record::Note(note) => store::notes::apply(transaction, note, &entry)?,
                };
                imported.count(applied);
            }
            Ok::<_, StoreError>(imported)
        })
        .await
        .map_err(ImportError::Store)
}

enum Record {
    Visit(duskflight_core::trapping::Visit),
    Note(duskflight_core::trapping::Note),
}

fn parse(
    kind: Kind,
    text: &str,
    orchard: &Orchard,
    today: chrono::NaiveDate,
    origin: &Origin,
) -> Result<Vec<Option<Record>>, ImportError> {
    let parsed = match kind {
        Kind::Visits => visits::parse(text, orchard, today).map(|visits| {
            visits
                .into_iter()
                .map(|visit| visit.map(Record::Visit))
                .collect()
        }),
        Kind::Notes => notes::parse(text, orchard, today, &origin.by)
            .map(|notes| notes.into_iter().map(Record::Note).map(Some).collect()),
    };
    parsed.map_err(|problems| ImportError::Rows {
        file: origin.file.clone(),
        problems,
    })
}

impl Imported {
    fn count(&mut self, applied: Applied) {
        match applied {
            Applied::Added => self.added += 1,
            Applied::Changed => self.changed += 1,
            Applied::Unchanged => self.unchanged += 1,
            Applied::Superseded => self.superseded += 1,
        }
    }
}

/// A short hash in hexadecimal of some bytes.
pub(crate) fn hash(parts: &[&[u8]]) -> String {
    let mut hasher = Sha256::new();
    for part in parts {
        hasher.update((part.len() as u64).to_be_bytes());
        hasher.update(part);
    }
    let digest = hasher.finalize();
    digest[..8]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
