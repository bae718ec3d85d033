//! What commands share: the configuration folder, the records, the runtime, the log.

use std::fmt::Display;
use std::future::Future;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;
use chrono::{DateTime, NaiveDate, Utc};
use clap::Args;
use comfy_table::{LineStyle, Table, presets};
use duskflight_core::id::StationId;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

use super::Failure;
use crate::clock::{self, Clock, SetClock, SystemClock};
use crate::config::{Config, ConfigError, DEFAULT_DIR, Station};
use crate::feed::{Client, Limits};
use crate::runner::jobs::{Tools, Workshop};
use crate::store::Store;

/// Names the folder of a farm where no option does.
pub(super) const DIR_VARIABLE: &str = "DUSKFLIGHT_CONFIG";

/// Longest name or reason on the command line, in characters: lists and mails show it.
const LONGEST_WORDS: usize = 500;

/// A name or a reason, as an argument.
///
/// # Errors
/// It is longer than a few words are.
pub(super) fn few_words(text: &str) -> Result<String, String> {
    match text.chars().count() {
        0..=LONGEST_WORDS => Ok(text.to_owned()),
        long => Err(format!(
            "it has {long} characters; there is room for {LONGEST_WORDS}"
        )),
    }
}

/// The folder of a farm.
#[derive(Debug, Clone, Args)]
pub(super) struct ConfigDir {
    /// Folder with duskflight.toml, blocks.csv and traps.csv
    #[arg(long = "config", value_name = "DIR", env = DIR_VARIABLE, hide_env_values = true, default_value = DEFAULT_DIR)]
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
    pub(super) fn path(&self) -> &Path {
        &self.dir
    }

    pub(super) fn read(&self) -> Result<Arc<Config>, Failure> {
        Ok(Arc::new(Config::read(&self.dir)?))
    }
}

impl AsOf {
    /// As [`AsOf::moment`], for commands that write, with a clock that stands at the moment of a given day.
    /// One that has not come is refused, since what is told for it would bar every day before it.
    pub(super) fn past_moment(
        &self,
        config: &Config,
    ) -> Result<(NaiveDate, Arc<dyn Clock>), Failure> {
        let today = config.day_of(SystemClock.now());
        match self.as_of.filter(|day| *day > today) {
            Some(day) => Err(Failure::usage(anyhow::anyhow!(
                "--as-of {day} has not come yet; today is {today} in {}",
                config.zone
            ))),
            None if self.as_of.is_none() => Ok((today, clock::system())),
            None => {
                let (day, at) = self.moment(config);
                Ok((day, Arc::new(SetClock::at(at))))
            }
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

/// The station that an argument names.
pub(super) fn station_of<'a>(config: &'a Config, id: &StationId) -> Result<&'a Station, Failure> {
    let found = config.stations.iter().find(|station| station.id == *id);
    found.ok_or_else(|| {
        let ids: Vec<&str> = config.stations.iter().map(|s| s.id.as_str()).collect();
        Failure::usage(anyhow::anyhow!(
            "{id}: no such station; there are {}",
            ids.join(", ")
        ))
    })
}

/// Opens the records of a farm to write.
pub(super) fn open_store(config: &Config) -> Result<Store, Failure> {
    Ok(Store::open(&config.database)?)
}

/// Opens the records of a farm to read, by whoever may read them; nothing is made or changed.
pub(super) fn store_to_read(config: &Config) -> Result<Store, Failure> {
    Ok(Store::open_to_read(&config.database)?)
}

/// Opens the records and prepares the way to the feeds, once mails can be sent at all.
pub(super) fn workshop(config: &Arc<Config>, clock: Arc<dyn Clock>) -> Result<Workshop, Failure> {
    Ok(tools(config, clock)?.open()?)
}

/// Prepares the way to the feeds, once mails can be sent at all.
pub(super) fn tools(config: &Arc<Config>, clock: Arc<dyn Clock>) -> Result<Tools, Failure> {
    if let Some(problem) = config.unsendable() {
        let problems = vec![problem.clone()];
        return Err(ConfigError { problems }.into());
    }
    for warning in &config.warnings {
        tracing::warn!("{warning}");
    }
    Ok(Tools {
        config: Arc::clone(config),
        client: Arc::new(feed_client(config)?),
        clock,
    })
}

/// Prepares the way to the feeds.
pub(super) fn feed_client(config: &Config) -> Result<Client, Failure> {
    let client = Client::new(Limits::default(), config.caller());
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

/// Something the reader should know about a result that stands.
pub(super) fn note(text: impl Display) {
    eprintln!("note: {text}");
}

/// A table without lines between its rows.
pub(super) fn plain_table<'a>(header: impl IntoIterator<Item = &'a str>) -> Table {
    let mut table = Table::new();
    table.load_style(presets::UTF8_HORIZONTAL_ONLY.row_separator(LineStyle::none()));
    table.set_header(header);
    table
}

/// Logs for people on a terminal, as JSON elsewhere; `DUSKFLIGHT_LOG` sets another level, also by module
/// (`warn,duskflight::feed=debug`).
pub(super) fn log_to_stderr(usual: &str) {
    let asked = std::env::var("DUSKFLIGHT_LOG").ok();
    let levels = tracing_subscriber::registry().with(levels(asked.as_deref(), usual));
    let lines = tracing_subscriber::fmt::layer().with_writer(std::io::stderr);
    // A second call in one process, as tests make it, keeps the first.
    let _ = if std::io::stderr().is_terminal() {
        levels.with(lines).try_init()
    } else {
        levels.with(lines.json()).try_init()
    };
}

/// What is logged: what was asked for where that can be understood.
fn levels(asked: Option<&str>, usual: &str) -> Targets {
    let asked = asked.filter(|asked| !asked.is_empty());
    let asked = asked.and_then(|asked| asked.parse().ok());
    asked.unwrap_or_else(|| usual.parse().expect("the program's own levels are right"))
}

#[cfg(test)]
mod tests {
    use tracing::Level;

    use super::*;

    #[test]
    fn the_log_has_the_level_asked_for_by_module_and_else_the_usual_one() {
        let check = |asked: Option<&str>, module: &str, expected: Level| {
            let levels = levels(asked, "warn,duskflight=info");
            let finest = [
                Level::TRACE,
                Level::DEBUG,
                Level::INFO,
                Level::WARN,
                Level::ERROR,
            ]
            .into_iter()
            .find(|level| levels.would_enable(module, level));
            assert_eq!(finest, Some(expected), "{asked:?} {module}");
        };
        for usual in [None, Some(""), Some("warn,duskflight=loud")] {
            check(usual, "duskflight::feed", Level::INFO);
            check(usual, "hyper", Level::WARN);
        }
        check(Some("debug"), "hyper", Level::DEBUG);
        let by_module = Some("error,duskflight::feed=trace");
        check(by_module, "duskflight::feed::client", Level::TRACE);
        check(by_module, "duskflight::mail", Level::ERROR);
    }
}
