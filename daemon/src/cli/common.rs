//! What commands share: the configuration folder, the records, the runtime, the log.

use std::future::Future;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::sync::Arc;

use anyhow::Context;
use chrono::{DateTime, NaiveDate, Utc, Weekday};
use clap::Args;
use comfy_table::{LineStyle, Table, presets};
use tracing_subscriber::EnvFilter;

use super::Failure;
use crate::clock::{Clock, SetClock, SystemClock};
use crate::config::{Config, ConfigError};
use crate::feed::{Client, Limits};
use crate::runner::jobs::Workshop;
use crate::store::Store;

/// The folder of a farm.
#[derive(Debug, Args)]
pub(super) struct ConfigDir {
    /// Folder with duskflight.toml, blocks.csv and traps.csv
    #[arg(long = "config", value_name = "DIR")]
    dir: PathBuf,
}

/// A civil day instead of today.
#[derive(Debug, Args)]
pub(super) struct AsOf {
    /// Civil day to look from, YYYY-MM-DD [default: today in the farm's zone]
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
}

impl ConfigDir {
    pub(super) fn read(&self) -> Result<Arc<Config>, Failure> {
        Ok(Arc::new(Config::read(&self.dir)?))
    }
}

impl AsOf {
    /// The clock of work that is done for the civil day: it stands at the hour of a given day's digest.
    pub(super) fn clock(&self, config: &Config) -> Box<dyn Clock> {
        match self.as_of {
            Some(day) => Box::new(SetClock::at(config.digest_instant(day))),
            None => Box::new(SystemClock),
        }
    }

    /// As [`AsOf::moment`], for commands that write: a day that has not come is refused, since what is
    /// told for it would bar every day before it.
    pub(super) fn past_moment(
        &self,
        config: &Config,
    ) -> Result<(NaiveDate, DateTime<Utc>), Failure> {
        let today = config.day_of(SystemClock.now());
        match self.as_of.filter(|day| *day > today) {
            Some(day) => Err(Failure::usage(anyhow::anyhow!(
                "--as-of {day} has not come yet; today is {today} in {}",
                config.zone
            ))),
            None => Ok(self.moment(config)),
        }
    }

    /// The civil day and its moment: of a given day the hour of its digest, else now.
    pub(super) fn moment(&self, config: &Config) -> (NaiveDate, DateTime<Utc>) {
        match self.as_of {
            Some(day) => (day, config.digest_instant(day)),
            None => {
                let now = SystemClock.now();
                (config.day_of(now), now)
            }
        }
    }
}

/// Opens the records of a farm.
pub(super) fn open_store(config: &Config) -> Result<Store, Failure> {
    Ok(Store::open(&config.database).map_err(anyhow::Error::from)?)
}

/// Opens the records and prepares the way to the feeds, once mails can be sent at all.
pub(super) fn workshop(config: &Arc<Config>) -> Result<Workshop, Failure> {
    if let Some(problem) = config.unsendable() {
        let problems = vec![problem.clone()];
        return Err(ConfigError { problems }.into());
    }
    for warning in &config.warnings {
        tracing::warn!("{warning}");
    }
    Ok(Workshop {
        store: open_store(config)?,
        config: Arc::clone(config),
        client: Arc::new(feed_client(config)?),
    })
}

/// Prepares the way to the feeds.
pub(super) fn feed_client(config: &Config) -> Result<Client, Failure> {
    let client = Client::new(Limits::default(), config.operator.as_deref());
    Ok(client.context("prepare the HTTP client")?)
}

/// Runs a command to its end on this thread.
pub(super) fn block_on(command: impl Future<Output = Result<(), Failure>>) -> Result<(), Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .context("start the runtime")?
        .block_on(command)
}

/// Prints to standard output; a reader that has gone away, as `head` does, is not an error.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(anyhow::Error::from(error)
                .context("write to standard output")
                .into())
        }
        _ => Ok(()),
    }
}

/// A table without lines between its rows.
pub(super) fn plain_table<'a>(header: impl IntoIterator<Item = &'a str>) -> Table {
    let mut table = Table::new();
    table.load_style(presets::UTF8_HORIZONTAL_ONLY.row_separator(LineStyle::none()));
    table.set_header(header);
    table
}

/// Logs for people on a terminal, as JSON elsewhere; `DUSKFLIGHT_LOG` sets another level.
pub(super) fn log_to_stderr(level: &str) {
    let filter =
        EnvFilter::try_from_env("DUSKFLIGHT_LOG").unwrap_or_else(|_| EnvFilter::new(level));
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr);
    // A second call in one process, as tests make it, keeps the first.
    let _ = if std::io::stderr().is_terminal() {
        log.try_init()
    } else {
        log.json().try_init()
    };
}

/// A day of the week in full.
pub(super) const fn weekday_name(day: Weekday) -> &'static str {
    match day {
        Weekday::Mon => "Monday",
        Weekday::Tue => "Tuesday",
        Weekday::Wed => "Wednesday",
        Weekday::Thu => "Thursday",
        Weekday::Fri => "Friday",
        Weekday::Sat => "Saturday",
        Weekday::Sun => "Sunday",
    }
}
