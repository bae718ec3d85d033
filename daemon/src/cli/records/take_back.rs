//! `visits withdraw`, `notes withdraw` and what stands in the history.

use anyhow::{Context, anyhow};
use chrono::{DateTime, NaiveDate, Utc};
use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use duskflight_core::id::{BlockId, TrapId};
use duskflight_core::trapping::NoteKind;

use super::between::Between;
use super::rows::{NOTE_COLUMNS, VISIT_COLUMNS, note_row, visit_row};
use crate::cli::Failure;
use crate::cli::common::{ConfigDir, few_words, open_store, plain_table, print, store_to_read};
use crate::clock;
use crate::config::Config;
use crate::store::entries::{Past, Withdrawal};
use crate::store::notes::{self, Key};
use crate::store::visits;

/// Who takes a record back, and why.
#[derive(Debug, Args)]
struct Reason {
    /// Why, in a few words
    #[arg(long, value_parser = few_words)]
    why: String,
    /// Who withdraws it, as the history keeps it
    #[arg(long, default_value = "command line", value_parser = few_words)]
    by: String,
}

#[derive(Debug, Args)]
pub(crate) struct WithdrawVisit {
    #[command(flatten)]
    config: ConfigDir,
    /// Id of the trap
    #[arg(long)]
    trap: TrapId,
    /// Civil day of the visit, YYYY-MM-DD
    #[arg(long)]
    date: NaiveDate,
    #[command(flatten)]
    reason: Reason,
}

#[derive(Debug, Args)]
pub(crate) struct WithdrawNote {
    #[command(flatten)]
    config: ConfigDir,
    /// Id of the block
    #[arg(long)]
    block: BlockId,
    /// The variety, where the note is about one
    #[arg(long)]
    variety: Option<String>,
    /// What kind of note it is
    #[arg(long, value_parser = kind_parser())]
    kind: &'static str,
    /// Civil day it was seen or decided, YYYY-MM-DD
    #[arg(long)]
    date: NaiveDate,
    #[command(flatten)]
    reason: Reason,
}

#[derive(Debug, Args)]
pub(crate) struct VisitHistory {
    #[command(flatten)]
    config: ConfigDir,
    /// Only of this trap
    #[arg(long)]
    trap: Option<TrapId>,
    #[command(flatten)]
    between: Between,
}

#[derive(Debug, Args)]
pub(crate) struct NoteHistory {
    #[command(flatten)]
    config: ConfigDir,
    /// Only of this block
    #[arg(long)]
    block: Option<BlockId>,
    #[command(flatten)]
    between: Between,
}

fn kind_parser() -> impl TypedValueParser<Value = &'static str> {
    PossibleValuesParser::new(NoteKind::NAMES).map(|name| {
        let known = NoteKind::NAMES.into_iter().find(|known| *known == name);
        known.expect("clap refuses every other name")
    })
}

impl Reason {
    /// Who withdraws it and why, both given.
    fn checked(self) -> Result<(String, String), Failure> {
        let [by, why] = [&self.by, &self.why].map(|text| text.trim().to_owned());
        if by.is_empty() || why.is_empty() {
            return Err(Failure::usage(anyhow!(
                "--why and --by: say who withdraws it, and why"
            )));
        }
        Ok((by, why))
    }
}

impl WithdrawVisit {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let store = open_store(&*self.config.read()?)?;
        let (by, why) = self.reason.checked()?;
        let (trap, date) = (self.trap.clone(), self.date);
        let gone = store
            .write_at(&clock::system(), move |t, at| {
                visits::withdraw(t, &trap, date, &Withdrawal { at, by, why })
            })
            .await
            .context("store the withdrawal")?;
        answer(gone, &format!("visit of trap {} on {date}", self.trap))
    }
}

impl WithdrawNote {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let store = open_store(&*self.config.read()?)?;
        let (by, why) = self.reason.checked()?;
        let key = Key::new(&self.block, self.variety.as_deref(), self.kind, self.date);
        let gone = store
            .write_at(&clock::system(), move |t, at| {
                notes::withdraw(t, &key, &Withdrawal { at, by, why })
            })
            .await
            .context("store the withdrawal")?;
        let variety = self.variety.map(|variety| format!(" ({variety})"));
        let variety = variety.unwrap_or_default();
        let what = format!(
            "{} of block {}{variety} on {}",
            self.kind, self.block, self.date
        );
        answer(gone, &what)
    }
}

fn answer(gone: bool, what: &str) -> Result<(), Failure> {
    if gone {
        return print(&format!("{what}: withdrawn; it stays in the history\n"));
    }
    Err(Failure::usage(anyhow!("{what}: no such record stands")))
}

impl VisitHistory {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let trap = self.trap;
        let past = store_to_read(&config)?
            .read(move |c| visits::history(c, trap.as_ref()))
            .await
            .context("read the history")?;
        let mut table = plain_table(VISIT_COLUMNS.into_iter().chain(ENTRY));
        let days = self.between.days();
        for one in past.iter().filter(|one| days.contains(&one.record.date)) {
            table.add_row(
                visit_row(&one.record)
                    .into_iter()
                    .chain(entry(&config, one)),
            );
        }
        print(&format!("{table}\n"))
    }
}

impl NoteHistory {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let block = self.block;
        let past = store_to_read(&config)?
            .read(move |c| notes::history(c, block.as_ref()))
            .await
            .context("read the history")?;
        let mut table = plain_table(NOTE_COLUMNS.into_iter().chain(ENTRY));
        let days = self.between.days();
        for one in past.iter().filter(|one| days.contains(&one.record.date)) {
            let row = note_row(&one.record).into_iter();
            table.add_row(row.chain(entry(&config, one)));
        }
        print(&format!("{table}\n"))
    }
}

const ENTRY: [&str; 3] = ["entered", "replaced", "why"];

/// How a record came in and went.
fn entry<T>(config: &Config, past: &Past<T>) -> [String; 3] {
    let at = |at: DateTime<Utc>| at.with_timezone(&config.zone).format("%Y-%m-%d %H:%M");
    let by = past.replaced_by.as_deref().unwrap_or("not known");
    [
        format!("{} by {}, {}", at(past.entered), past.by, past.via),
        format!("{} by {by}", at(past.replaced)),
        match &past.why {
            Some(why) => format!("withdrawn: {why}"),
            None => "changed".to_owned(),
        },
    ]
}
