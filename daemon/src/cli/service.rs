//! `duskflight service`: what every trap needs, and when.

use std::collections::BTreeMap;

use anyhow::Context;
use chrono::NaiveDate;
use clap::Args;
use duskflight_core::orchard::Orchard;
use duskflight_core::season::BlockSeason;
use duskflight_core::trapping::DueState;

use super::Failure;
use super::common::{AsOf, ConfigDir, open_store, plain_table, print};
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

/// One thing to do at one trap.
struct Task {
    state: DueState,
    due: NaiveDate,
    block: String,
    trap: String,
    place: String,
    what: String,
    since: String,
    /// The service life of a part, and where it comes from.
    life: String,
}

impl Service {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let store = open_store(&config)?;
        let night = store
            .read(move |c| night(c, &config, day))
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))
            .context("recompute the seasons")?;
        let mut tasks: Vec<Task> = night
            .seasons
            .iter()
            .flat_map(|season| tasks(season, &night.orchard))
            .filter(|task| self.all || task.state != DueState::Later)
            .collect();
        tasks.sort_by(|a, b| (a.state, a.due, &a.trap).cmp(&(b.state, b.due, &b.trap)));
        let mut table = plain_table([
            "",
            "due",
            "block",
            "trap",
            "place",
            "what",
            "since",
            "service life",
        ]);
        for task in &tasks {
            table.add_row([
                task.state.to_string(),
                task.due.to_string(),
                task.block.clone(),
                task.trap.clone(),
                task.place.clone(),
                task.what.clone(),
                task.since.clone(),
                task.life.clone(),
            ]);
        }
        print(&format!("{table}\n{}, as of {day}\n", summary(&tasks)))
    }
}

fn tasks(season: &BlockSeason, orchard: &Orchard) -> Vec<Task> {
    let places: BTreeMap<&str, String> = orchard
        .traps_of(&season.block.id)
        .map(|trap| (trap.id.as_str(), trap.place.to_string()))
        .collect();
    let task = |state: DueState, trap: &str, due: NaiveDate, what: String, since: String| Task {
        state,
        due,
        block: season.block.name.clone(),
        trap: trap.to_owned(),
        place: places.get(trap).cloned().unwrap_or_default(),
        what,
        since,
        life: String::new(),
    };
    let readings = season.readings.iter().map(|reading| {
        let last = reading
            .last
            .map_or_else(|| "not read yet".to_owned(), |d| format!("read {d}"));
        let what = format!("read the {} trap", reading.kind.name());
        let state = season.reading_state(reading);
        task(state, reading.trap.as_str(), reading.due, what, last)
    });
    let service = season.service.iter().map(|due| {
        let state = season.due_state(due.due);
        let what = format!("{} {}", due.part.words(), due.product);
        let since = match due.full {
            Some(full) => format!("in since {}, {} moths on it", due.since, full.moths),
            None => format!("in since {}", due.since),
        };
        Task {
            life: format!("{} days: {}", due.life_days, due.source),
            ..task(state, due.trap.as_str(), due.due, what, since)
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
