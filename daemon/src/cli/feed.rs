//! `duskflight feed`: answers of feeds that were odd as a whole and are kept aside.

use anyhow::{Context, anyhow};
use chrono::{DateTime, Utc};
use clap::{Args, Subcommand};
use duskflight_core::id::StationId;
use duskflight_core::wording::plural;

use super::Failure;
use super::common::{ConfigDir, open_store, plain_table, print};
use crate::clock;
use crate::config::{Config, Station};
use crate::runner::keeping::accept_aside;
use crate::store::answers_aside::{self, AnswerAside};

/// Answers of feeds that were odd as a whole, such as in another unit: list, accept or drop them
///
/// No day of such an answer is used. When the feed answers well again, it is forgotten by itself.
#[derive(Debug, Subcommand)]
pub(super) enum Feed {
    /// List what is kept aside, and what is odd about it
    List(List),
    /// Store what is kept aside of a station: it is true after all; later answers are judged by it
    Accept(Which),
    /// Throw away what is kept aside of a station; while its feed answers the same, it is not asked again
    Drop(Which),
}

#[derive(Debug, Args)]
pub(super) struct List {
    #[command(flatten)]
    config: ConfigDir,
}

#[derive(Debug, Args)]
pub(super) struct Which {
    /// Id of the station
    station: StationId,
    #[command(flatten)]
    config: ConfigDir,
}

impl Feed {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::List(list) => list.run().await,
            Self::Accept(which) => which.accept().await,
            Self::Drop(which) => which.throw_away().await,
        }
    }
}

impl List {
    async fn run(self) -> Result<(), Failure> {
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
    async fn accept(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let station = self.station(&config)?.clone();
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

    async fn throw_away(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let station = self.station(&config)?.id.to_string();
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

    fn station<'a>(&self, config: &'a Config) -> Result<&'a Station, Failure> {
        let mut stations = config.stations.iter();
        let found = stations.find(|station| station.id == self.station);
        found.ok_or_else(|| {
            let ids: Vec<&str> = config.stations.iter().map(|s| s.id.as_str()).collect();
            Failure::usage(anyhow!(
                "{}: no such station; there are {}",
                self.station,
                ids.join(", ")
            ))
        })
    }

    fn nothing(&self) -> Failure {
        Failure::usage(anyhow!(
            "{}: nothing is kept aside, see `duskflight feed list`",
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
