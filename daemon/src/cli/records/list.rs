//! `visits list` and `notes list`: what stands, the newest days where nothing else is asked for.

use std::collections::BTreeMap;

use anyhow::{Context, anyhow};
use chrono::{Days, NaiveDate};
use clap::Args;
use duskflight_core::id::{BlockId, TrapId};
use duskflight_core::orchard::Orchard;

use super::rows::{NOTE_COLUMNS, VISIT_COLUMNS, note_row, visit_row};
use crate::cli::Failure;
use crate::cli::common::{AsOf, ConfigDir, plain_table, print, store_to_read};
use crate::nearest::suggestion;
use crate::store::{notes, visits};

/// So many days are shown where none are named, the last one included.
const SHOWN_DAYS: u64 = 30;

#[derive(Debug, Args)]
pub(crate) struct ListVisits {
    #[command(flatten)]
    list: List,
    /// Only of this trap
    #[arg(long)]
    trap: Option<TrapId>,
}

#[derive(Debug, Args)]
pub(crate) struct ListNotes {
    #[command(flatten)]
    list: List,
}

#[derive(Debug, Args)]
struct List {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Only of this block
    #[arg(long)]
    block: Option<BlockId>,
    /// Only from this civil day on, YYYY-MM-DD [default: thirty days before the last]
    #[arg(long)]
    from: Option<NaiveDate>,
    /// Only up to this civil day, YYYY-MM-DD [default: that of --as-of]
    #[arg(long)]
    to: Option<NaiveDate>,
    /// Of all days
    #[arg(long, conflicts_with = "from")]
    all: bool,
}

impl ListVisits {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.list.config.read()?;
        let (day, _) = self.list.as_of.moment(&config);
        let orchard = config.orchard_up_to(day);
        self.list.check_block(&orchard)?;
        let window = self.list.window(day);
        let read = store_to_read(&config)?
            .read(move |c| visits::up_to(c, window.last))
            .await
            .context("read the visits")?;
        let traps = orchard.traps().iter();
        let blocks: BTreeMap<&TrapId, &BlockId> =
            traps.map(|trap| (&trap.id, &trap.block)).collect();
        if let Some(trap) = &self.trap
            && !blocks.contains_key(trap)
            && !read.iter().any(|visit| visit.trap == *trap)
        {
            let near = suggestion(trap.as_str(), blocks.keys().map(|id| id.as_str()));
            return Err(Failure::usage(anyhow!(
                "trap {trap}: no such trap in traps.csv{near}"
            )));
        }
        let of_trap = |id: &TrapId| self.trap.as_ref().is_none_or(|trap| trap == id);
        let of_block = |id: &TrapId| {
            let block = self.list.block.as_ref();
            block.is_none_or(|block| blocks.get(id) == Some(&block))
        };
        let found = read.iter();
        let found = found.filter(|visit| of_trap(&visit.trap) && of_block(&visit.trap));
        let (shown, earlier): (Vec<_>, Vec<_>) = found.partition(|visit| window.shows(visit.date));
        let mut table = plain_table(VISIT_COLUMNS);
        for visit in &shown {
            table.add_row(visit_row(visit));
        }
        let counted = window.counted("visits", shown.len(), earlier.len());
        print(&format!("{table}\n{counted}\n"))
    }
}

impl ListNotes {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.list.config.read()?;
        let (day, _) = self.list.as_of.moment(&config);
        self.list.check_block(&config.orchard_up_to(day))?;
        let window = self.list.window(day);
        let read = store_to_read(&config)?
            .read(move |c| notes::up_to(c, window.last))
            .await
            .context("read the notes")?;
        let of_block = |id: &BlockId| self.list.block.as_ref().is_none_or(|block| block == id);
        let found = read.iter().filter(|note| of_block(&note.block));
        let (shown, earlier): (Vec<_>, Vec<_>) = found.partition(|note| window.shows(note.date));
        let mut table = plain_table(NOTE_COLUMNS.into_iter().chain(["by"]));
        for note in &shown {
            table.add_row(note_row(note).into_iter().chain([note.by.clone()]));
        }
        let counted = window.counted("notes", shown.len(), earlier.len());
        print(&format!("{table}\n{counted}\n"))
    }
}

impl List {
    /// That the block is one of the farm's.
    fn check_block(&self, orchard: &Orchard) -> Result<(), Failure> {
        let blocks = orchard.blocks().iter();
        let mut ids = blocks.map(|block| block.id.as_str());
        match &self.block {
            Some(block) if !ids.clone().any(|id| id == block.as_str()) => {
                let near = suggestion(block.as_str(), &mut ids);
                let what = anyhow!("block {block}: no such block in blocks.csv{near}");
                Err(Failure::usage(what))
            }
            _ => Ok(()),
        }
    }

    fn window(&self, day: NaiveDate) -> Window {
        let last = self.to.map_or(day, |to| to.min(day));
        let by_default = last.checked_sub_days(Days::new(SHOWN_DAYS - 1));
        Window {
            first: match (self.all, self.from) {
                (true, _) => None,
                (false, Some(from)) => Some(from),
                (false, None) => by_default,
            },
            last,
            is_default: !self.all && self.from.is_none(),
        }
    }
}

/// The days that are shown.
#[derive(Clone, Copy)]
struct Window {
    first: Option<NaiveDate>,
    last: NaiveDate,
    /// Nobody named its first day.
    is_default: bool,
}

impl Window {
    fn shows(&self, day: NaiveDate) -> bool {
        self.first.is_none_or(|first| first <= day)
    }

    /// How many were shown, and how to see those of earlier days.
    fn counted(&self, what: &str, shown: usize, earlier: usize) -> String {
        let last = self.last;
        match self.first {
            Some(_) if self.is_default && earlier > 0 => format!(
                "{shown} {what} of the {SHOWN_DAYS} days up to {last}; {earlier} of earlier days are shown with --all"
            ),
            Some(first) if !self.is_default => format!("{shown} {what} from {first} to {last}"),
            _ => format!("{shown} {what} up to {last}"),
        }
    }
}
