//! The one way in and out for what people write down: trap visits and field notes, as sheets.
//!
//! A file is taken whole or not at all. Every row is checked against what the farm declares, and
//! everything that is wrong is said at once, with row, column and value. A record typed on the command
//! line is a file of one row.

mod answered;
mod cells;
mod drop;
mod export;
mod notes;
mod reading;
mod round;
mod temperatures;
mod visits;
mod writers;

pub use answered::{BY_MAIL, BY_PAGE, Entered, Writer, take_back, visits_of_sheet};
pub use drop::{DropError, Outcome, Pauses, Taken, dropped_trouble, take_in, try_out};
pub use export::{notes_csv, visits_csv};
pub use round::round_csv;
pub use temperatures::{JudgeError, Judged, Judgement};

pub(crate) use export::{Cells, carried};
pub(crate) use writers::Writers;

use std::sync::Arc;

use chrono::{DateTime, Utc};
use duskflight_core::trapping::{Note, Visit};
use rusqlite::Connection;

use self::reading::{Asked, Reading};
use crate::clock::Clock;
use crate::config::Config;
use crate::hash::hash;
use crate::sheet::{Dates, Fault, Sheet};
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
    /// The command that they are brought in by.
    const fn command(self) -> &'static str {
        match self {
            Self::Visits => "visits",
            Self::Notes => "notes",
        }
    }

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
    /// How the file was read, where that is to be said.
    pub remarks: Vec<String>,
}

/// Where a file comes from.
#[derive(Debug, Clone)]
pub struct Origin {
    /// Its name, without folders; for a single record the way it came in.
    pub file: String,
    /// Who enters it.
    pub by: String,
    /// Whether they are sure of what no real year has shown.
    pub sure: bool,
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
    Store(#[from] StoreError),
}

/// So many faults are listed; whoever mended them sees the others.
const LISTED: usize = 200;

fn list(problems: &[Fault]) -> String {
    let listed = problems.iter().take(LISTED);
    let mut list: String = listed.map(|problem| format!("\n  {problem}")).collect();
    if let Some(more @ 1..) = problems.len().checked_sub(LISTED) {
        list.push_str(&format!("\n  and {more} more"));
    }
    list
}

/// The records of a sheet, `None` for rows left blank, and all that is wrong; how it was read, where that is
/// to be said.
type Parsed = (Sheet<Option<Asked<Record>>>, Vec<String>);

/// Checks a file, however a spreadsheet saved it, and stores its rows in one transaction.
///
/// # Errors
/// [`ImportError::Rows`] with everything that is wrong; then nothing of the file is stored.
pub async fn import(
    store: &Store,
    config: &Config,
    kind: Kind,
    file: impl AsRef<[u8]>,
    origin: &Origin,
    clock: &Arc<dyn Clock>,
) -> Result<Imported, ImportError> {
    let file = file.as_ref();
    let (parsed, remarks) = parse(config, kind, file, origin, clock.now());
    let file_hash = hash(&[file]);
    let origin = origin.clone();
    store
        .write_at(clock, move |transaction, at| {
            let again = importing(transaction, &file_hash, at)?;
            let mut imported = Imported {
                remarks,
                ..Imported::default()
            };
            let mut problems = parsed.faults;
            for (place, row) in parsed.rows.into_iter().enumerate() {
                let Some((record, asked)) = row else {
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
                let applied = record.apply(transaction, &entry)?;
                problems.extend(still_asked(asked, applied, &origin));
                imported.count(&record, applied);
            }
            whole(imported, problems, &origin)
        })
        .await
}

/// What is asked about a row that changed something; what stands already was answered when it came.
fn still_asked(asked: Vec<Fault>, applied: Applied, origin: &Origin) -> Vec<Fault> {
    match applied {
        Applied::Added | Applied::Changed if !origin.sure => asked,
        _ => Vec::new(),
    }
}

/// What was done where nothing is wrong; else all that is, by rows, so that nothing of it is kept.
fn whole<T>(done: T, mut problems: Vec<Fault>, origin: &Origin) -> Result<T, ImportError> {
    if problems.is_empty() {
        return Ok(done);
    }
    problems.sort_by_key(|problem| problem.row);
    Err(ImportError::Rows {
        file: origin.file.clone(),
        problems,
    })
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
    let (parsed, _) = parse(config, kind, text.as_bytes(), origin, clock.now());
    let rows = whole(parsed.rows, parsed.faults, origin)?;
    let (record, asked) = rows.into_iter().flatten().next().ok_or_else(|| {
        let problems = vec![Fault::of_row(2, visits::NOTHING_COUNTED.to_owned())];
        ImportError::Rows {
            file: origin.file.clone(),
            problems,
        }
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
            let applied = record.apply(transaction, &entry)?;
            whole(applied, still_asked(asked, applied, &origin), &origin)
        })
        .await
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

fn parse(config: &Config, kind: Kind, file: &[u8], origin: &Origin, now: DateTime<Utc>) -> Parsed {
    let today = config.day_of(now);
    let reading = Reading {
        orchard: config.orchard_up_to(today),
        today,
        now,
        by: &origin.by,
        words: config.words,
        dates: Dates::new(config.words.order),
    };
    let sheet = match kind {
        Kind::Visits => visits::parse(file, &reading)
            .map(|row| row.map(|((visit, by), asked)| (Record::Visit(visit, by), asked))),
        Kind::Notes => {
            notes::parse(file, &reading).map(|(note, asked)| Some((Record::Note(note), asked)))
        }
    };
    let encoding = sheet.remark.map(str::to_owned);
    let remarks = encoding.into_iter().chain(reading.dates.remark()).collect();
    (sheet, remarks)
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
