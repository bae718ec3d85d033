//! `duskflight service`: what every trap needs, and when.

use std::collections::BTreeSet;

use anyhow::Context;
use chrono::NaiveDate;
use clap::Args;
use duskflight_core::id::TrapId;
use duskflight_core::season::BlockSeason;
use duskflight_core::trapping::DueState;
use duskflight_core::wording::trap_list;
use textwrap::{Options, WordSplitter};

use super::Failure;
use super::common::{AsOf, ConfigDir, print, store_to_read};
use crate::store::StoreError;
use crate::telling::night;

/// List readings and service of every trap: overdue, due today, soon
///
/// What is due in a block with a note "no entry until" waits for that day. Egg traps may go unread once
/// sound nuts have split. Traps that are down for shaking are not listed.
#[derive(Debug, Args)]
pub(super) struct Service {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Also list what is due later than within a week
    #[arg(long)]
    all: bool,
}

/// Terminals have at least so many columns.
const COLUMNS: usize = 80;

/// One thing to do at one trap.
struct Task {
    state: DueState,
    due: NaiveDate,
    block: String,
    trap: TrapId,
    what: String,
    /// The product of a part with its service life, and where that comes from.
    life: Option<String>,
}

impl Service {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let store = store_to_read(&config)?;
        let night = store
            .read(move |c| night(c, &config, day))
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))
            .context("recompute the seasons")?;
        let mut tasks: Vec<Task> = night
            .seasons
            .iter()
            .flat_map(tasks)
            .filter(|task| self.all || task.state != DueState::Later)
            .collect();
        tasks.sort_by(|a, b| (a.alike(), &a.trap).cmp(&(b.alike(), &b.trap)));
        print(&format!(
            "{}\n{}, as of {day}\n",
            listed(&tasks),
            summary(&tasks)
        ))
    }
}

/// Tasks that differ in their trap alone on one line, folded to an ordinary terminal, and below them
/// the service lives once each.
fn listed(tasks: &[Task]) -> String {
    let alike = tasks.chunk_by(|one, next| one.alike() == next.alike());
    let lines = alike.map(|tasks| {
        let task = &tasks[0];
        let traps: Vec<&TrapId> = tasks.iter().map(|task| &task.trap).collect();
        let state = task.state.to_string();
        format!(
            "{state:<9}  {}  {}: {}: {}",
            task.due,
            task.block,
            task.what,
            trap_list(&traps)
        )
    });
    let lives: BTreeSet<&str> = tasks
        .iter()
        .filter_map(|task| task.life.as_deref())
        .collect();
    let lives = lives
        .into_iter()
        .map(|life| format!("service life of {life}"));
    let whole_words = || Options::new(COLUMNS).word_splitter(WordSplitter::NoHyphenation);
    let hanging = whole_words().subsequent_indent("                       ");
    lines
        .map(|line| format!("{}\n", textwrap::fill(&line, &hanging)))
        .chain(lives.map(|life| format!("{}\n", textwrap::fill(&life, whole_words()))))
        .collect()
}

impl Task {
    /// What tasks on one line share.
    fn alike(&self) -> (DueState, NaiveDate, &str, &str) {
        (self.state, self.due, &self.block, &self.what)
    }
}

fn tasks(season: &BlockSeason) -> Vec<Task> {
    let task = |state: DueState, trap: &TrapId, due: NaiveDate, what: String| Task {
        state,
        due,
        block: season.block.name.clone(),
        trap: trap.clone(),
        what,
        life: None,
    };
    let readings = season.work.readings.iter().map(|reading| {
        let last = reading
            .last
            .map_or_else(|| "not read yet".to_owned(), |d| format!("last {d}"));
        let what = format!("read the {} trap, {last}", reading.kind.name());
        let state = season.reading_state(reading);
        task(state, &reading.trap, reading.due, what)
    });
    let service = season.work.service.iter().map(|due| {
        let state = season.due_state(due.due);
        let full = due.full.map(|full| format!(", {} moths on it", full.moths));
        let what = format!(
            "{} {}, in since {}{}",
            due.part.words(),
            due.product,
            due.since,
            full.unwrap_or_default()
        );
        let life = format!("{}: {} days, {}", due.product, due.life_days, due.source);
        Task {
            life: Some(life),
            ..task(state, &due.trap, due.due, what)
        }
    });
    readings.chain(service).collect()
}

fn summary(tasks: &[Task]) -> String {
    let count = |state| tasks.iter().filter(|task| task.state == state).count();
    let closed = |task: &&Task| matches!(task.state, DueState::Closed(_));
    let waiting = match tasks.iter().filter(closed).count() {
        0 => String::new(),
        waiting => format!(", {waiting} waiting in closed blocks"),
    };
    format!(
        "{} overdue, {} due today, {} soon{waiting}",
        count(DueState::Overdue),
        count(DueState::Today),
        count(DueState::Soon)
    )
}
