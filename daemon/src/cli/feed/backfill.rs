//! `duskflight feed backfill`: past days of a station, fetched by hand.

use std::fmt::Write as _;
use std::time::Duration;

use anyhow::{Context, anyhow};
use chrono::NaiveDate;
use clap::Args;
use duskflight_core::id::StationId;
use duskflight_core::weather::ReceivedDay;
use duskflight_core::wording::plural;

use super::once::value;
use crate::cli::Failure;
use crate::cli::common::{ConfigDir, feed_client, open_store, print, station_of};
use crate::clock::{self, Clock, SystemClock, day_before};
use crate::config::Config;
use crate::runner::backfill::{Change, Outcome, Stretch, stretches};
use crate::store::Store;

/// So many days that change are listed of each stretch; the rest are counted.
const LISTED_CHANGES: usize = 20;

#[derive(Debug, Args)]
pub(in crate::cli) struct Backfill {
    /// Id of the station
    #[arg(long, value_name = "STATION")]
    station: StationId,
    /// First civil day to ask for, YYYY-MM-DD
    #[arg(long, value_name = "DATE")]
    from: NaiveDate,
    /// Last civil day [default: yesterday]
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// Ask, and say what would change, but store nothing
    #[arg(long)]
    dry_run: bool,
    /// Ask also for years that came whole before
    #[arg(long)]
    again: bool,
    /// Seconds to leave the service alone between two requests
    #[arg(long, value_name = "SECONDS", default_value_t = 3, value_parser = clap::value_parser!(u64).range(0..=3600))]
    pause: u64,
    #[command(flatten)]
    config: ConfigDir,
}

impl Backfill {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let station = station_of(&config, &self.station)?;
        let (day, (from, to)) = self.span(&config)?;
        let store = if self.dry_run {
            Store::copy_of(&config.database)?
        } else {
            open_store(&config)?
        };
        let backfill = crate::runner::backfill::Backfill {
            store: &store,
            config: &config,
            client: &feed_client(&config)?,
            clock: &clock::system(),
            station,
            day,
        };
        backfill.begin().await.context("begin")?;
        let (mut asked, mut failed) = (false, None);
        for stretch in stretches(&station.source, from, to) {
            let settled = backfill.is_settled(stretch).await;
            if !self.again && settled.context("look what is there")? {
                let there = "there already; --again asks all the same";
                print(&format!("{}: {there}\n", words(stretch)))?;
                continue;
            }
            if std::mem::replace(&mut asked, true) {
                tokio::time::sleep(Duration::from_secs(self.pause)).await;
            }
            let outcome = backfill.fetch(stretch).await.context("fetch")?;
            print(&format!("{}: {}", words(stretch), told(&outcome)))?;
            if let Outcome::Failed(_) = outcome {
                failed = Some(stretch);
                break;
            }
        }
        if self.dry_run {
            print("nothing was stored\n")?;
        }
        match failed {
            Some(stretch) => Err(Failure::try_later(anyhow!(
                "nothing came for {}; the same command goes on from there",
                words(stretch)
            ))),
            None => Ok(()),
        }
    }

    /// Today, and the days to ask for.
    fn span(&self, config: &Config) -> Result<(NaiveDate, Stretch), Failure> {
        let today = config.day_of(SystemClock.now());
        let to = self.to.unwrap_or(day_before(today));
        if self.from > to || to >= today {
            return Err(Failure::usage(anyhow!(
                "--from {} --to {to}: name days in their order, before today, {today}",
                self.from
            )));
        }
        Ok((today, (self.from, to)))
    }
}

fn words((from, to): Stretch) -> String {
    format!("{from} to {to}")
}

fn told(outcome: &Outcome) -> String {
    match outcome {
        Outcome::Failed(why) => format!("nothing came: {why}\n"),
        Outcome::Aside(what) => format!("kept aside, see `duskflight feed aside`: {what}\n"),
        Outcome::Stored {
            received,
            changes,
            remarks,
        } => {
            let different: Vec<_> = changes.iter().filter_map(different).collect();
            let new = changes.len() - different.len();
            let mut text = format!(
                "{} received, {new} new, {} different\n",
                plural(*received, "day"),
                different.len()
            );
            for line in different.iter().take(LISTED_CHANGES) {
                text.push_str(line);
            }
            if different.len() > LISTED_CHANGES {
                // Writing to a string cannot fail.
                let _ = writeln!(text, "  and {} more", different.len() - LISTED_CHANGES);
            }
            if let Some(remarks) = remarks {
                let _ = writeln!(text, "  {remarks}");
            }
            text
        }
    }
}

/// A line for a day that was there before and has other values now.
fn different(change: &Change) -> Option<String> {
    let values = |day: &ReceivedDay| {
        format!(
            "{} to {}",
            value(day.min, day.unit),
            value(day.max, day.unit)
        )
    };
    let before = change.before.as_ref()?;
    Some(format!(
        "  {}: {}, before {}\n",
        change.now.date,
        values(&change.now),
        values(before)
    ))
}
