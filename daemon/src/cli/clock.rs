//! `duskflight clock`: what the daemon thinks of the machine's clock, and mending what a wrong one stored.

use anyhow::Context;
use clap::{Args, Subcommand};

use super::Failure;
use super::common::{ConfigDir, open_store, print, store_to_read};
use crate::clock::{Clock, SystemClock};
use crate::store::journal;
use crate::store::{StoreError, clock_doubt, set_aside};

/// Show whether the machine's clock is believed, and what is dated later than now
#[derive(Debug, Args)]
pub(super) struct ClockState {
    #[command(flatten)]
    config: ConfigDir,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Show what is dated later than now, and set it aside with --yes
    ///
    /// The machine's clock has to be right for it. Mails that left stay sent; on the days that they were for, those
    /// days are told anew.
    Mend {
        /// Set it aside, in the journal too
        #[arg(long)]
        yes: bool,
    },
}

impl ClockState {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let now = SystemClock.now();
        let today = config.day_of(now);
        let mends = matches!(self.command, Some(Command::Mend { yes: true }));
        if mends {
            let store = open_store(&config)?;
            let journal = journal::path_beside(&config.database);
            let done = store.write(move |t| set_aside::set_aside(t, &journal, today, now));
            let done = done.await.context("set aside what is dated later")?;
            return print(&format!("set aside: {}\n", listed(&done)));
        }
        let store = store_to_read(&config)?;
        let read =
            store.read(move |c| Ok((clock_doubt::read(c)?, set_aside::owed(c, today, now)?)));
        let (doubt, owed) = read
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))?;
        let local = now.with_timezone(&config.zone).format("%Y-%m-%d %H:%M %Z");
        let mut text = format!("the clock says {local}\n");
        text.push_str(&match doubt {
            None => "no doubt of it is noted\n".to_owned(),
            Some((_, why)) => format!("not believed: {why}\n"),
        });
        text.push_str(&format!("dated later: {}\n", listed(&owed)));
        if !owed.is_empty() {
            text.push_str(
                "where the clock is right now, set it aside with: duskflight clock mend --yes\n",
            );
        }
        print(&text)
    }
}

fn listed(counted: &[(&'static str, u32)]) -> String {
    let words = counted
        .iter()
        .map(|(what, count)| format!("{count} {what}"));
    let words: Vec<String> = words.collect();
    if words.is_empty() {
        "nothing".to_owned()
    } else {
        words.join(", ")
    }
}
