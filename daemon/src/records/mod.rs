//! The one way in and out for what people write down: trap visits and field notes, as CSV.
//!
//! A file is taken whole or not at all. Every row is checked against what the farm declares, and
//! everything that is wrong is said at once, with row, column and value. A record typed on the command
//! line is a file of one row.

mod cells;
mod drop;
mod export;
mod notes;
mod round;
mod visits;

pub use drop::{DropError, Outcome, Taken, dropped_trouble, take_in, try_out};
pub use export::{notes_csv, visits_csv};
pub use round::round_csv;

pub(crate) use export::{Cells, carried};

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::orchard::Orchard;
use duskflight_core::trapping::{Note, Visit};
use rusqlite::Connection;

use crate::clock::Clock;
use crate::config::Config;
use crate::hash::hash;
use crate::sheet::Fault;
use crate::store::entries::{Applied, Entry, importing};
use crate::store::{self, Store, StoreError};

/// What kind of record a file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Trap visits.
    Visits,
    /// Field notes.
    Notes,
}

impl Kind {
    /// The columns of its sheets.
    #[must_use]
    pub const fn columns(self) -> &'static [&'static str] {
        match self {
            Self::Visits => visits::COLUMNS.all,
            Self::Notes => notes::COLUMNS.all,
        }
    }
}

/// How many rows of a file did what.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Imported {
    /// New records.
    pub added: usize,
    /// Records that replaced an older entry, which the history keeps: what each is about.
    pub changed: Vec<String>,
    /// Rows that were there already.
    pub unchanged: usize,
    /// Rows of a file that was imported before, whose records were changed or withdrawn since; that
    /// stands.
    pub superseded: usize,
    /// Rows of a round sheet that were left blank.
    pub blank: usize,
}

/// Where a file comes from.
#[derive(Debug, Clone)]
pub struct Origin {
    /// Its name, without folders; for a single record the way it came in.
    pub file: String,
    /// Who enters it.
    pub by: String,
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
    clock: &Arc<dyn Clock>,
) -> Result<Imported, ImportError> {
    let records = parse(config, kind, text, origin, clock.now())?;
    let file_hash = hash(&[text.as_bytes()]);
    let origin = origin.clone();
    store
        .write_at(clock, move |transaction, at| {
            let again = importing(transaction, &file_hash, at)?;
            let mut imported = Imported::default();
            for (place, record) in records.iter().enumerate() {
                let Some(record) = record else {
                    imported.blank += 1;
                    continue;
                };
                let entry = Entry {
                    at,
                    by: record.by().to_owned(),
                    via: format!("import {}", origin.file),
                    id: format!("{file_hash}:{}", place + 1),
                    again,
                };
                imported.count(record, record.apply(transaction, &entry)?);
            }
            Ok::<_, StoreError>(imported)
        })
        .await
        .map_err(ImportError::Store)
}

/// Checks and stores one record given by its cells: the same checks as those of a file's rows. It is
/// always entered anew, so what was withdrawn can come back this way.
///
/// # Errors
/// [`ImportError::Rows`] with everything that is wrong.
pub async fn add(
    store: &Store,
    config: &Config,
    kind: Kind,
    cells: Cells,
    origin: &Origin,
    clock: &Arc<dyn Clock>,
) -> Result<Applied, ImportError> {
    let text = export::sheet(kind.columns(), std::iter::once(cells));
    let records = parse(config, kind, &text, origin, clock.now())?;
    let record = records.into_iter().flatten().next();
    let record = record.ok_or_else(|| ImportError::Rows {
        file: origin.file.clone(),
        problems: vec![Fault::of_row(2, visits::NOTHING_COUNTED.to_owned())],
    })?;
    let origin = origin.clone();
    store
        .write_at(clock, move |transaction, at| {
            let nanoseconds = at.timestamp_nanos_opt().unwrap_or_default();
            let entry = Entry {
                at,
                by: record.by().to_owned(),
                via: origin.file.clone(),
                id: hash(&[text.as_bytes(), &nanoseconds.to_be_bytes()]),
                again: false,
            };
            record.apply(transaction, &entry)
        })
        .await
        .map_err(ImportError::Store)
}

/// A record with who entered it.
enum Record {
    Visit(Visit, String),
    Note(Note),
}

impl Record {
    fn by(&self) -> &str {
        match self {
            Self::Visit(_, by) => by,
            Self::Note(note) => &note.by,
        }
    }

    /// What it is about, for people.
    fn name(&self) -> String {
        match self {
            Self::Visit(visit, _) => format!("{} {}", visit.trap, visit.date),
            Self::Note(note) => {
                let variety = note
                    .variety
                    .as_ref()
                    .map_or_else(String::new, |v| format!(" {v}"));
                format!("{}{variety} {} {}", note.block, note.kind.name(), note.date)
            }
        }
    }

    fn apply(&self, connection: &Connection, entry: &Entry) -> Result<Applied, StoreError> {
        match self {
            Self::Visit(visit, _) => store::visits::apply(connection, visit, entry),
            Self::Note(note) => store::notes::apply(connection, note, entry),
        }
    }
}

fn parse(
    config: &Config,
    kind: Kind,
    text: &str,
    origin: &Origin,
    now: DateTime<Utc>,
) -> Result<Vec<Option<Record>>, ImportError> {
    let today: NaiveDate = config.day_of(now);
    let orchard: Orchard = config.orchard_up_to(today);
    let by = &origin.by;
    let parsed = match kind {
        Kind::Visits => visits::parse(text, &orchard, today, by).map(|visits| {
            let visits = visits.into_iter();
            let record = |(visit, by)| Record::Visit(visit, by);
            visits.map(|visit| visit.map(record)).collect()
        }),
        Kind::Notes => notes::parse(text, &orchard, today, now, by)
            .map(|notes| notes.into_iter().map(Record::Note).map(Some).collect()),
    };
    parsed.map_err(|problems| ImportError::Rows {
        file: origin.file.clone(),
        problems,
    })
}

impl Imported {
    fn count(&mut self, record: &Record, applied: Applied) {
        match applied {
            Applied::Added => self.added += 1,
            Applied::Changed => self.changed.push(record.name()),
            Applied::Unchanged => self.unchanged += 1,
            Applied::Superseded => self.superseded += 1,
        }
    }
}
