//! Answers of feeds that were odd as a whole and are kept aside: listed, accepted, dropped.

use anyhow::{Context, anyhow};
use chrono::{DateTime, Utc};
use clap::Args;
use duskflight_core::id::StationId;
use duskflight_core::wording::plural;

use crate::cli::Failure;
use crate::cli::common::{ConfigDir, open_store, plain_table, print, station_of};
use crate::clock;
use crate::config::Config;
use crate::runner::keeping::accept_aside;
use crate::store::answers_aside::{self, AnswerAside};

#[derive(Debug, Args)]
pub(in crate::cli) struct Aside {
    #[command(flatten)]
    config: ConfigDir,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct Which {
    /// Id of the station
    station: StationId,
    #[command(flatten)]
    config: ConfigDir,
}

impl Aside {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let store = open_store(&config)?;
        let answers = store.read(answers_aside::all).await;
        let answers = answers.context("read the answers kept aside")?;
        let mut table = plain_table(["station", "days", "came", "newest", "what is odd"]);
        for answer in &answers {
            table.add_row(row(&config, answer));
        }
        let waiting = answers.iter().filter(|answer| answer.days.is_some());
        print(&format!(
            "{table}\n{} kept aside\n",
            plural(waiting.count(), "answer")
        ))
    }
}

impl Which {
    pub(super) async fn accept(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let station = station_of(&config, &self.station)?.clone();
        let store = open_store(&config)?;
        let taken = store
            .write_at(&clock::system(), move |t, now| {
                accept_aside(t, &station, now)
            })
            .await
            .context("store the answer")?;
        if taken.is_empty() {
            return Err(self.nothing());
        }
        for (answer, changed) in taken {
            let days = answer.days.map_or(0, |days| days.len());
            print(&format!(
                "{}, {} to {}: {}, {changed} new or different; the next digest is told from them\n",
                self.station,
                answer.from,
                answer.to,
                plural(days, "day")
            ))?;
        }
        Ok(())
    }

    pub(super) async fn throw_away(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let station = station_of(&config, &self.station)?.id.to_string();
        let store = open_store(&config)?;
        let thrown = store
            .write(move |t| answers_aside::throw_away(t, &station))
            .await;
        match thrown.context("throw the answer away")? {
            0 => Err(self.nothing()),
            count => print(&format!(
                "{}: {} thrown away; the stored days stand\n",
                self.station,
                plural(count, "answer")
            )),
        }
    }

    fn nothing(&self) -> Failure {
        Failure::usage(anyhow!(
            "{}: nothing is kept aside, see `duskflight feed aside`",
            self.station
        ))
    }
}

fn row(config: &Config, answer: &AnswerAside) -> [String; 5] {
    let at = |at: DateTime<Utc>| {
        let at = at.with_timezone(&config.zone);
        at.format("%Y-%m-%d %H:%M").to_string()
    };
    [
        answer.station.clone(),
        format!("{} to {}", answer.from, answer.to),
        at(answer.since),
        at(answer.at),
        answer.words(),
    ]
}
