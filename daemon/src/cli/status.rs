//! `duskflight status`: whether the work was done.

use std::fmt::Write as _;

use anyhow::Context;
use chrono::{DateTime, Utc};
use clap::Args;

use super::Failure;
use super::common::{ConfigDir, print, store_to_read};
use crate::clock::{Clock, SystemClock};
use crate::config::Config;
use crate::health::{Found, lines, local, next_digests, stale};
use crate::telling::people;

/// Show the newest day of each station, the last run of each job, and the outbox
#[derive(Debug, Args)]
pub(super) struct Status {
    #[command(flatten)]
    config: ConfigDir,
    /// Say only what is stale, and exit with 75 when anything is: for an outside watcher
    #[arg(long)]
    healthcheck: bool,
}

impl Status {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let now = SystemClock.now();
        let store = store_to_read(&config)?;
        let for_reading = config.clone();
        let found = store
            .read(move |c| Found::read(c, &for_reading, now))
            .await
            .context("read the records")?;
        if self.healthcheck {
            return healthy(&config, &found, now);
        }
        print(&report(&config, &found, now))
    }
}

/// Health: recent temperatures, a told morning, no mail that waits long.
fn healthy(config: &Config, found: &Found, now: DateTime<Utc>) -> Result<(), Failure> {
    let stale = stale(config, found, now);
    if stale.is_empty() {
        return print("healthy\n");
    }
    Err(Failure::try_later(anyhow::anyhow!("{}", stale.join("; "))))
}

fn report(config: &Config, found: &Found, now: DateTime<Utc>) -> String {
    let mut text = format!("{}: {}\n", config.farm, local(config.zone, now));
    let mut line = |what: &str, words: &str| {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{what}: {words}");
    };
    for one in lines(config, found, now) {
        line(&one.what, &one.words);
    }
    for (who, gets) in people(config, &config.orchard_on(config.day_of(now))) {
        line(&who, &gets);
    }
    let next = next_digests(config, now).map(|at| local(config.zone, at));
    line("next digests", &next.collect::<Vec<_>>().join(", "));
    text
}
