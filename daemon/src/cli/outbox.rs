//! `duskflight outbox`: mails that wait or were given up, and what to do with them.

use anyhow::Context;
use clap::{Args, Subcommand};
use duskflight_core::ledger::MailState;

use super::Failure;
use super::common::{ConfigDir, open_store, plain_table, print, store_to_read};
use crate::clock::{Clock, SystemClock};
use crate::store::{StoreError, outbox_edit};

/// The outbox: list its mails, try one again, drop one
#[derive(Debug, Subcommand)]
pub(super) enum Outbox {
    /// List mails that wait, failed or expired
    List(List),
    /// Queue a mail for a try at once
    Retry(One),
    /// Give up a waiting mail; what it told counts as untold and is told anew
    Drop(One),
}

#[derive(Debug, Args)]
pub(super) struct List {
    #[command(flatten)]
    config: ConfigDir,
    /// Also those that were sent
    #[arg(long)]
    all: bool,
}

#[derive(Debug, Args)]
pub(super) struct One {
    /// The mail's id, as `outbox list` shows it
    id: String,
    #[command(flatten)]
    config: ConfigDir,
}

impl Outbox {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::List(list) => list.run().await,
            Self::Retry(one) => {
                one.change("queued for a try at once", outbox_edit::retry)
                    .await
            }
            Self::Drop(one) => one.change("dropped", outbox_edit::give_up).await,
        }
    }
}

impl List {
    async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let store = store_to_read(&config)?;
        let all = self.all;
        let mails = store
            .read(move |c| outbox_edit::list(c, all))
            .await
            .context("read the outbox")?;
        let mut table = plain_table([
            "id", "day", "kind", "person", "state", "tries", "next try", "error",
        ]);
        for mail in &mails {
            let next = match mail.state {
                MailState::Queued => mail
                    .next_try
                    .with_timezone(&config.zone)
                    .format("%m-%d %H:%M")
                    .to_string(),
                _ => String::new(),
            };
            table.add_row([
                mail.id.clone(),
                mail.day.to_string(),
                mail.kind.name().to_owned(),
                mail.person.to_string(),
                mail.state.name().to_owned(),
                mail.attempts.to_string(),
                next,
                mail.error.clone().unwrap_or_default(),
            ]);
        }
        print(&format!("{table}\nmails: {}\n", mails.len()))
    }
}

type Change =
    fn(&rusqlite::Connection, &str, chrono::DateTime<chrono::Utc>) -> Result<bool, StoreError>;

impl One {
    async fn change(self, done: &str, change: Change) -> Result<(), Failure> {
        let config = self.config.read()?;
        let store = open_store(&config)?;
        let id = self.id.trim_matches(['<', '>']).to_owned();
        let (key, now) = (id.clone(), SystemClock.now());
        let found = store
            .write(move |t| change(t, &key, now))
            .await
            .context("change the outbox")?;
        if !found {
            return Err(Failure::usage(anyhow::anyhow!(
                "{id}: no such mail is waiting or kept; see `duskflight outbox list`"
            )));
        }
        print(&format!("{id}: {done}\n"))
    }
}
