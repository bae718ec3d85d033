//! `duskflight alerts`: growers' alerts that wait, and what an adviser does to them.

use anyhow::{Context, anyhow};
use chrono::{DateTime, Utc};
use clap::{Args, Subcommand};

use super::Failure;
use super::common::{ConfigDir, note, open_store, plain_table, print, store_to_read};
use crate::clock::{Clock, SystemClock};
use crate::config::Config;
use crate::mail::contents::What;
use crate::store::Store;
use crate::store::alerts::WaitingAlert;
use crate::telling::in_hand::{Deed, InHandError, checked_line, tried};
use crate::telling::waiting::{WaitingAlerts, added_lines, name};

/// List growers' alerts that wait, with when each leaves; hold one, release it, add a line to it
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(super) struct Alerts {
    #[command(subcommand)]
    act: Option<Act>,
    #[command(flatten)]
    config: ConfigDir,
}

#[derive(Debug, Subcommand)]
enum Act {
    /// Keep an alert until it is released; later ones to the same person wait behind it
    Hold(One),
    /// Let an alert leave at once, held or not: whoever releases it has seen it
    Release(One),
    /// Add a line to an alert, marked as the adviser's, above the caution
    Note(Line),
}

#[derive(Debug, Args)]
pub(super) struct One {
    /// A person for whom one alert waits, or the alert's id, as `alerts` shows it
    #[arg(value_name = "PERSON|ID")]
    who: String,
    #[command(flatten)]
    config: ConfigDir,
    /// Who does it [default: the adviser that the alert names]
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct Line {
    #[command(flatten)]
    one: One,
    /// The line, of at most 500 characters
    #[arg(
        value_name = "LINE",
        required_unless_present = "clear",
        conflicts_with = "clear"
    )]
    line: Option<String>,
    /// Take all added lines out again
    #[arg(long)]
    clear: bool,
}

impl Alerts {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self.act {
            Some(Act::Hold(one)) => one.act(What::Held).await,
            Some(Act::Release(one)) => one.act(What::Released).await,
            Some(Act::Note(line)) => line.run().await,
            None => list(&self.config).await,
        }
    }
}

async fn list(config: &ConfigDir) -> Result<(), Failure> {
    let config = config.read()?;
    let waiting = read(&store_to_read(&config)?).await?;
    let now = SystemClock.now();
    let mut table = plain_table(["id", "to", "adviser", "day", "leaves", "says"]);
    for (id, alert) in waiting.iter() {
        table.add_row([
            id.to_owned(),
            name(&config, &alert.mail.person).to_owned(),
            adviser_name(&config, alert).to_owned(),
            config.words.day(alert.mail.day),
            leaves(&config, &waiting, alert, now),
            says(alert),
        ]);
    }
    print(&format!(
        "{table}\nalerts waiting: {}\n",
        waiting.alerts.len()
    ))
}

impl Line {
    async fn run(self) -> Result<(), Failure> {
        let Some(line) = self.line else {
            return self.one.act(What::Cleared).await;
        };
        self.one
            .act(What::Line(checked_line(&line).map_err(refused)?))
            .await?;
        note(
            "it goes out as the adviser's words. Advice on an application to one property is a \
             licensed adviser's written recommendation in law, whatever the way it is sent",
        );
        Ok(())
    }
}

async fn read(store: &Store) -> Result<WaitingAlerts, Failure> {
    let read = store.read(WaitingAlerts::read).await;
    Ok(read.context("read the outbox")?)
}

fn leaves(
    config: &Config,
    all: &WaitingAlerts,
    alert: &WaitingAlert,
    now: DateTime<Utc>,
) -> String {
    let leaves = all.leaves(config, alert, now);
    match tried(alert) {
        Some(_) => format!("{leaves}, tried already"),
        None => leaves,
    }
}

/// The adviser's name; none of a mail about the blocks of several.
fn adviser_name<'a>(config: &'a Config, alert: &'a WaitingAlert) -> &'a str {
    let adviser = alert.mail.adviser.as_ref();
    adviser.map_or("", |adviser| name(config, adviser))
}

/// The subject, with the lines that were added.
fn says(alert: &WaitingAlert) -> String {
    let added = added_lines(alert).into_iter();
    let added = added.map(|line| format!("+ {line}"));
    let lines: Vec<String> = std::iter::once(alert.subject.clone())
        .chain(added)
        .collect();
    lines.join("\n")
}

impl One {
    async fn act(self, what: What) -> Result<(), Failure> {
        let config = self.config.read()?;
        let store = open_store(&config)?;
        let (now, at_hand) = (SystemClock.now(), config.clone());
        let deed = Deed {
            who: self.who,
            of: None,
            by: self.by,
            what,
        };
        let done = store
            .write(move |t| deed.carry_out(t, &at_hand, now))
            .await
            .map_err(refused)?;
        let waiting = read(&store).await?;
        let Some((id, alert)) = waiting
            .iter()
            .find(|(_, alert)| alert.mail.message_id == done)
        else {
            return Ok(());
        };
        print(&format!(
            "{id}: alert of {} to {} leaves: {}\n",
            config.words.day(alert.mail.day),
            name(&config, &alert.mail.person),
            leaves(&config, &waiting, alert, now)
        ))
    }
}

/// What whoever asked for it must ask otherwise is their matter, all else the program's.
fn refused(error: InHandError) -> Failure {
    match error {
        InHandError::Refused(_) => Failure::usage(anyhow!(error)),
        other => anyhow!(other).into(),
    }
}
