//! `duskflight visits` and `duskflight notes`: what people wrote down.

use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::{Args, Subcommand};
use duskflight_core::trapping::{NoteKind, Visit};

use super::Failure;
use super::common::{AsOf, ConfigDir, open_store, plain_table, print};
use crate::clock::{Clock, SystemClock};
use crate::records::{self, ImportError, Kind, Origin};
use crate::store::{notes, visits};

/// Trap visits: import them from CSV, list them
#[derive(Debug, Subcommand)]
pub(super) enum Visits {
    /// Import a CSV file with the columns date,trap,eggs,moths,males,females,readable,serviced,note
    ///
    /// Empty means not given; readable is yes or no, yes when empty; serviced names parts replaced:
    /// lure ppo bait liner, separated by blanks. A file with a wrong row is not stored at all. Rows of
    /// a round sheet that were left blank are passed over and counted.
    Import(Import),
    /// List visits
    List(List),
}

/// Field notes: import them from CSV, list them
#[derive(Debug, Subcommand)]
pub(super) enum Notes {
    /// Import a CSV file with the columns date,block,variety,kind,value,note
    ///
    /// Kinds: egg-laying-start (value: the day set by hand; note: why), hull-split (seen on date),
    /// hull-split-expected (value: the day). A file with a wrong row is not stored at all.
    Import(Import),
    /// List notes
    List(List),
}

#[derive(Debug, Args)]
pub(super) struct Import {
    /// CSV file
    file: PathBuf,
    #[command(flatten)]
    config: ConfigDir,
    /// Who enters it, as the history keeps it
    #[arg(long, default_value = "command line")]
    by: String,
}

#[derive(Debug, Args)]
pub(super) struct List {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
}

impl Visits {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::Import(import) => import.run(Kind::Visits).await,
            Self::List(list) => list.visits().await,
        }
    }
}

impl Notes {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::Import(import) => import.run(Kind::Notes).await,
            Self::List(list) => list.notes().await,
        }
    }
}

impl Import {
    async fn run(self, kind: Kind) -> Result<(), Failure> {
        let config = self.config.read()?;
        let bytes = std::fs::read(&self.file)
            .with_context(|| format!("read {}", self.file.display()))
            .map_err(Failure::usage)?;
        let text = String::from_utf8(bytes)
            .with_context(|| format!("read {}; save it as CSV in UTF-8", self.file.display()))
            .map_err(Failure::usage)?;
        let store = open_store(&config)?;
        let origin = Origin {
            file: name_of(&self.file),
            by: self.by,
            at: SystemClock.now(),
        };
        let imported = records::import(&store, &config, kind, &text, &origin)
            .await
            .map_err(|error| match error {
                ImportError::Rows { .. } => Failure::usage(error),
                ImportError::Store(_) => anyhow::Error::from(error).into(),
            })?;
        let superseded = match imported.superseded {
            0 => String::new(),
            rows => format!(", {rows} not applied: a later entry has replaced them"),
        };
        let blank = match imported.blank {
            0 => String::new(),
            rows => format!(", {rows} left blank"),
        };
        print(&format!(
            "{}: {} added, {} changed, {} there already{superseded}{blank}\n",
            origin.file, imported.added, imported.changed, imported.unchanged
        ))
    }
}

fn name_of(file: &Path) -> String {
    file.file_name().map_or_else(
        || file.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}

impl List {
    async fn visits(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let store = open_store(&config)?;
        let visits = store
            .read(move |c| visits::up_to(c, day))
            .await
            .context("read the visits")?;
        let mut table = plain_table([
            "date", "trap", "eggs", "moths", "males", "females", "readable", "serviced", "note",
        ]);
        for visit in &visits {
            table.add_row(visit_row(visit));
        }
        print(&format!("{table}\n{} visits up to {day}\n", visits.len()))
    }

    async fn notes(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let store = open_store(&config)?;
        let notes = store
            .read(move |c| notes::up_to(c, day))
            .await
            .context("read the notes")?;
        let mut table = plain_table(["date", "block", "variety", "kind", "value", "note", "by"]);
        for note in &notes {
            let value = match note.kind {
                NoteKind::EggLayingStart(day)
                | NoteKind::HullSplitExpected(day)
                | NoteKind::DispensersUntil(day)
                | NoteKind::NoEntryUntil(day) => day.to_string(),
                _ => String::new(),
            };
            table.add_row([
                note.date.to_string(),
                note.block.to_string(),
                note.variety.clone().unwrap_or_default(),
                note.kind.name().to_owned(),
                value,
                note.text.clone(),
                note.by.clone(),
            ]);
        }
        print(&format!("{table}\n{} notes up to {day}\n", notes.len()))
    }
}

fn visit_row(visit: &Visit) -> [String; 9] {
    let count = |count: Option<u32>| count.map_or_else(String::new, |n| n.to_string());
    let serviced: Vec<&str> = visit.serviced.iter().map(|part| part.name()).collect();
    [
        visit.date.to_string(),
        visit.trap.to_string(),
        count(visit.eggs),
        count(visit.moths),
        count(visit.males),
        count(visit.females),
        if visit.readable { "yes" } else { "no" }.to_owned(),
        serviced.join(" "),
        visit.note.clone(),
    ]
}
