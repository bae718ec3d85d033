//! `duskflight visits` and `duskflight notes`: what people wrote down.

mod add;
mod between;
mod export;
mod list;
mod rows;
mod take_back;

use std::fs::File;
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::{Args, Subcommand};

use super::Failure;
use super::common::{ConfigDir, few_words, open_store, print};
use crate::clock;
use crate::plain_file;
use crate::records::{self, Imported, Kind, Origin};

/// Trap visits: bring them in, change them, take them back, look at them, bring them out
#[derive(Debug, Subcommand)]
pub(super) enum Visits {
    /// Import a sheet of visits: CSV as any spreadsheet saves it, .xlsx or .ods
    ///
    /// Columns, of which date and trap are needed:
    /// date,trap,eggs,eggs_left,moths,males,females,readable,serviced,note,by
    ///
    /// Empty means not given. eggs_left is yes when the eggs counted stay on the trap; readable is yes or
    /// no, yes when empty; serviced names parts replaced: lure ppo bait liner, separated by blanks. A row
    /// without counts that names what was serviced is a service. A file with a wrong row is not stored
    /// at all, nor one with a count that no trap holds, unless with --sure. Rows of a round sheet that
    /// were left blank are passed over and counted.
    Import(Import),
    /// Enter one visit; one of the same trap and day is changed and stays in the history
    Add(add::AddVisit),
    /// Take one visit back; it stays in the history, and its old file does not bring it in again
    Withdraw(take_back::WithdrawVisit),
    /// List visits, those of the last thirty days where no others are asked for
    List(list::ListVisits),
    /// List visits as they stood before they were changed or withdrawn
    History(take_back::VisitHistory),
    /// Write visits as CSV that imports to the same records
    Export(export::Export),
}

/// Field notes: bring them in, change them, take them back, look at them, bring them out
#[derive(Debug, Subcommand)]
pub(super) enum Notes {
    /// Import a sheet of notes: CSV as any spreadsheet saves it, .xlsx or .ods
    ///
    /// Columns, of which date, block and kind are needed: date,block,variety,kind,value,earliest,latest,
    /// trees,top,middle,low,scale,stage,in_tree,on_ground,nuts,orangeworm,twig_borer,ants,other,damaged,
    /// percent,note,by
    ///
    /// Kinds and their columns: egg-laying-start (value: the day set by hand; note: why; earliest, latest:
    /// the days within which it lies, both or neither), bloom,
    /// hull-split (seen on date), hull-split-expected (value), hull-split-check (trees; top, middle, low
    /// in percent; scale and stage), shake-expected (earliest, value: the likely day, latest), shaken,
    /// mummies (trees; in_tree, on_ground), harvest-sample (nuts, orangeworm, twig_borer, ants, other),
    /// nut-sample (nuts looked at before harvest; damaged by navel orangeworm), field-damage and rejects
    /// (percent), insecticide, dispensers-on, dispensers-until (value),
    /// no-entry-until (value). A file with a wrong row is not stored at all, nor one with a day that no real
    /// year has shown, unless with --sure.
    Import(Import),
    /// Enter one note; one of the same block, variety, kind and day is changed and stays in the history
    ///
    /// Kinds and their columns: see `duskflight notes import --help`.
    Add(Box<add::AddNote>),
    /// Take one note back; it stays in the history, and its old file does not bring it in again
    Withdraw(take_back::WithdrawNote),
    /// List notes, those of the last thirty days where no others are asked for
    List(list::ListNotes),
    /// List notes as they stood before they were changed or withdrawn
    History(take_back::NoteHistory),
    /// Write notes as CSV that imports to the same records
    Export(export::Export),
}

#[derive(Debug, Args)]
pub(super) struct Import {
    /// CSV file or workbook
    file: PathBuf,
    #[command(flatten)]
    config: ConfigDir,
    /// Who enters it, as the history keeps it
    #[arg(long, default_value = "command line", value_parser = few_words)]
    by: String,
    /// Take also what no real year has shown, such as hull split in April; without it such a file is refused
    #[arg(long)]
    sure: bool,
}

impl Visits {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::Import(import) => import.run(Kind::Visits).await,
            Self::Add(add) => add.run().await,
            Self::Withdraw(withdraw) => withdraw.run().await,
            Self::List(list) => list.run().await,
            Self::History(history) => history.run().await,
            Self::Export(export) => export.run(Kind::Visits).await,
        }
    }
}

impl Notes {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::Import(import) => import.run(Kind::Notes).await,
            Self::Add(add) => add.run().await,
            Self::Withdraw(withdraw) => withdraw.run().await,
            Self::List(list) => list.run().await,
            Self::History(history) => history.run().await,
            Self::Export(export) => export.run(Kind::Notes).await,
        }
    }
}

impl Import {
    async fn run(self, kind: Kind) -> Result<(), Failure> {
        let config = self.config.read()?;
        let sheet = File::open(&self.file)
            .and_then(|file| plain_file::read_whole(file, plain_file::BY_HAND))
            .with_context(|| format!("read {}", self.file.display()))
            .map_err(Failure::usage)?;
        let store = open_store(&config)?;
        let origin = Origin {
            file: name_of(&self.file),
            by: self.by,
            sure: self.sure,
        };
        let imported =
            records::import(&store, &config, kind, &sheet, &origin, &clock::system()).await?;
        print(&format!("{}: {}\n", origin.file, imported_words(&imported)))
    }
}

/// What an import did.
pub(super) fn imported_words(imported: &Imported) -> String {
    let superseded = match imported.superseded {
        0 => String::new(),
        rows => {
            format!(", {rows} not applied: a later entry has replaced them, or they were withdrawn")
        }
    };
    let changed = match &imported.changed[..] {
        [] => String::new(),
        records => format!(" ({})", records.join(", ")),
    };
    let blank = match imported.blank {
        0 => String::new(),
        rows => format!(", {rows} left blank"),
    };
    let remarks: String = imported
        .remarks
        .iter()
        .map(|said| format!("; {said}"))
        .collect();
    format!(
        "{} added, {} changed{changed}, {} there already{superseded}{blank}{remarks}",
        imported.added,
        imported.changed.len(),
        imported.unchanged
    )
}

fn name_of(file: &Path) -> String {
    file.file_name().map_or_else(
        || file.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}
