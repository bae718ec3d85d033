//! `duskflight alerts`: growers' alerts that wait, and what an adviser does to them.

use anyhow::{Context, anyhow};
use chrono::{DateTime, Utc};
use clap::{Args, Subcommand};
use duskflight_core::ledger::MailState;
use rusqlite::Connection;

use super::Failure;
use super::common::{ConfigDir, note, open_store, plain_table, print, store_to_read};
use crate::clock::{Clock, SystemClock};
use crate::config::Config;
use crate::mail::contents::{self, MailContents, What};
use crate::store::Store;
use crate::store::alerts::{self, GoneAlert, WaitingAlert};
use crate::telling::waiting::{WaitingAlerts, name};

/// Why a mail cannot be composed anew.
const OTHER_VERSION: &str = "it was made by another version and cannot be composed anew";
/// Why no line can be added to a mail.
const NO_LINES: &str = "it stands for several alerts, or was made by an earlier version, and no line can be added to it";
/// Longest line that can be added to an alert, in characters.
const LONGEST_LINE: usize = 500;

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
        self.one.act(What::Line(checked(&line)?)).await?;
        note(
            "it goes out as the adviser's words. Advice on an application to one property is a \
             licensed adviser's written recommendation in law, whatever the way it is sent",
        );
        Ok(())
    }
}

/// One line, neither empty nor long.
fn checked(line: &str) -> Result<String, Failure> {
    let line = line.trim();
    let length = line.chars().count();
    let wrong = if line.chars().any(char::is_control) {
        Some("it must be one line, without control characters".to_owned())
    } else if !(1..=LONGEST_LINE).contains(&length) {
        Some(format!(
            "it must have 1 to {LONGEST_LINE} characters and has {length}"
        ))
    } else {
        None
    };
    match wrong {
        Some(wrong) => Err(Failure::usage(anyhow!("the line cannot be added: {wrong}"))),
        None => Ok(line.to_owned()),
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

/// When an alert was tried first.
fn tried(alert: &WaitingAlert) -> Option<DateTime<Utc>> {
    alert.mail.first_try.filter(|_| alert.mail.attempts > 0)
}

/// The adviser's name; none of a mail about the blocks of several.
fn adviser_name<'a>(config: &'a Config, alert: &'a WaitingAlert) -> &'a str {
    let adviser = alert.mail.adviser.as_ref();
    adviser.map_or("", |adviser| name(config, adviser))
}

/// The subject, with the lines that were added.
fn says(alert: &WaitingAlert) -> String {
    let contents = alert.contents.as_deref().map(MailContents::from_json);
    let contents = contents.and_then(Result::ok);
    let added = contents.iter().flat_map(MailContents::lines);
    let added = added.map(|(by, line)| format!("+ {by}: {line}"));
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
        let done = store
            .write(move |t| self.act_in(t, &at_hand, what, now))
            .await?;
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

    /// Does it to the one alert that is meant, and gives its Message-ID.
    fn act_in(
        self,
        connection: &Connection,
        config: &Config,
        what: What,
        now: DateTime<Utc>,
    ) -> Result<String, Failure> {
        let waiting = WaitingAlerts::read(connection).context("read the outbox")?;
        let who = self.who.trim_matches(['<', '>']);
        let (id, alert) = match &waiting.meant(who)[..] {
            [one] => *one,
            [] => {
                let gone = alerts::newest_gone(connection, who).context("read the outbox")?;
                return Err(none_waits(config, who, gone.as_ref()));
            }
            several => return Err(which(config, who, several)),
        };
        if let Some(tried) = tried(alert) {
            let tried = config.moment_words(tried);
            return Err(Failure::usage(anyhow!(
                "{id}: it was tried first on {tried} and may have arrived; it can no longer be changed"
            )));
        }
        let by = self.by.unwrap_or_else(|| match &alert.mail.adviser {
            None => "an adviser".to_owned(),
            Some(adviser) => name(config, adviser).to_owned(),
        });
        let act = contents::Act { by, at: now, what };
        write(connection, alert, act).with_context(|| format!("change {id}"))?;
        Ok(alert.mail.message_id.clone())
    }
}

/// Writes what was done: into the outbox, into what the alert is composed from, and, where it adds or takes
/// out a line, into the mail.
fn write(connection: &Connection, alert: &WaitingAlert, act: contents::Act) -> anyhow::Result<()> {
    let id = &alert.mail.message_id;
    match act.what {
        What::Held if alert.mail.is_held() => return Ok(()),
        What::Held => drop(alerts::hold(connection, id, &act.by, act.at)?),
        What::Released => drop(alerts::release(connection, id, &act.by, act.at)?),
        What::Line(_) | What::Cleared => {}
    }
    let adds = !matches!(act.what, What::Held | What::Released);
    let contents = alert.contents.as_deref().map(MailContents::from_json);
    let Some(mut contents) = contents.transpose().context(OTHER_VERSION)? else {
        anyhow::ensure!(!adds, "{NO_LINES}");
        return Ok(());
    };
    anyhow::ensure!(!adds || contents.takes_lines(), "{NO_LINES}");
    contents.act(act);
    let mail = contents.compose(id)?;
    alerts::rewrite(connection, id, &mail.bytes, &contents.to_json())?;
    Ok(())
}

fn none_waits(config: &Config, who: &str, gone: Option<&GoneAlert>) -> Failure {
    let Some(gone) = gone else {
        return Failure::usage(anyhow!(
            "{who}: no alert waits that this means; see `duskflight alerts`"
        ));
    };
    let at = gone.at.map(|at| format!(" on {}", config.moment_words(at)));
    Failure::usage(anyhow!(
        "{who}: no alert waits; the alert of {} to {} was {}{}",
        config.words.day(gone.day),
        name(config, &gone.person),
        match gone.state {
            MailState::Failed | MailState::Expired => "given up",
            MailState::Unknown => "sent, and nobody knows whether it arrived,",
            other => other.name(),
        },
        at.unwrap_or_default()
    ))
}

fn which(config: &Config, who: &str, several: &[(&str, &WaitingAlert)]) -> Failure {
    let lines: Vec<String> = several
        .iter()
        .map(|(id, alert)| {
            format!(
                "{id}: of {}: {}",
                config.words.day(alert.mail.day),
                alert.subject
            )
        })
        .collect();
    Failure::usage(anyhow!(
        "{who}: {} alerts wait; name one by its id\n  {}",
        several.len(),
        lines.join("\n  ")
    ))
}
