//! `duskflight clock`: what the daemon thinks of the machine's clock, and mending what a wrong one stored.

use std::sync::Arc;

use anyhow::Context;
use chrono::NaiveDate;
use clap::{Args, Subcommand};

use super::Failure;
use super::common::{ConfigDir, print, store_to_read, workshop};
use crate::clock::{self, Clock, SystemClock};
use crate::config::Config;
use crate::runner::gate::{Doubt, Verdict};
use crate::store::journal;
use crate::store::set_aside::{self, Ahead};
use crate::store::{StoreError, clock_doubt};

/// Show whether the machine's clock is believed, and what is dated later than now
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
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
    /// The machine's clock has to be right for it: a host on the Internet or a time service has to agree, or you say
    /// what day it is. Mails that left stay sent; on the days that they were for, those days are told anew.
    Mend {
        /// Set it aside, in the journal too
        #[arg(long)]
        yes: bool,
        /// The civil day that it is, by a calendar, where nothing else says that the clock is right
        #[arg(long, value_name = "DATE")]
        today: Option<NaiveDate>,
        #[command(flatten)]
        config: ConfigDir,
    },
}

impl ClockState {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let (config, mends, said) = match self.command {
            None => (self.config, false, None),
            Some(Command::Mend { yes, today, config }) => (config, yes, today),
        };
        let config = config.read()?;
        if mends {
            return mend(&config, said).await;
        }
        let now = SystemClock.now();
        let today = config.day_of(now);
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

/// Sets aside what is dated later than now, by a clock that somebody agrees with.
async fn mend(config: &Arc<Config>, said: Option<NaiveDate>) -> Result<(), Failure> {
    let workshop = workshop(config, clock::system())?;
    let now = workshop.clock.now();
    let today = config.day_of(now);
    let ahead = workshop
        .store
        .read(move |c| set_aside::ahead(c, today, now));
    if ahead.await? != Ahead::Nothing {
        may_mend(&workshop.witnessed(now).await?, today, said)?;
    }
    let journal = journal::path_beside(&config.database);
    let store = &workshop.store;
    let done = store.write(move |t| set_aside::set_aside(t, &journal, today, now));
    let done = done.await.context("set aside what is dated later")?;
    print(&format!("set aside: {}\n", listed(&done)))
}

/// Refuses to mend by a clock that may be the one that is wrong. Whoever says what day it is knows more than a fetch
/// that was made by this clock, and less than another clock.
fn may_mend(verdict: &Verdict, today: NaiveDate, said: Option<NaiveDate>) -> Result<(), Failure> {
    if let Some(said) = said.filter(|said| *said != today) {
        return Err(Failure::usage(anyhow::anyhow!(
            "the clock says that today is {today} and not {said}; set the clock first"
        )));
    }
    match verdict {
        Verdict::Believed(_) => Ok(()),
        Verdict::Doubted(doubt @ (Doubt::Contradicted { .. } | Doubt::BeforeBuilt(_))) => {
            let error = anyhow::anyhow!("the clock is not believed: {doubt}; set the clock first");
            Err(Failure::try_later(error))
        }
        Verdict::Doubted(_) if said.is_some() => Ok(()),
        Verdict::Doubted(_) => Err(Failure::try_later(anyhow::anyhow!(
            "nothing else says that the clock is right; where today is {today} by a calendar, too, say so: duskflight \
             clock mend --yes --today {today}"
        ))),
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

#[cfg(test)]
mod tests {
    use chrono::{DateTime, TimeDelta};

    use super::*;

    #[test]
    fn a_clock_that_nobody_agrees_with_mends_nothing_unless_somebody_names_the_day() {
        let day = |day| NaiveDate::from_ymd_opt(2022, 6, day).unwrap();
        let mends = |verdict: Verdict, said| may_mend(&verdict, day(20), said).is_ok();
        let not_yet = Verdict::Doubted(Doubt::NotYet);
        assert!(mends(Verdict::Believed(1), None));
        assert!(!mends(Verdict::Believed(1), Some(day(21))));
        assert!(!mends(not_yet.clone(), None));
        assert!(mends(not_yet.clone(), Some(day(20))));
        assert!(!mends(not_yet, Some(day(21))));
        let behind = Verdict::Doubted(Doubt::BehindFetch(DateTime::UNIX_EPOCH));
        assert!(!mends(behind.clone(), None) && mends(behind, Some(day(20))));
        let who = "feed.example".to_owned();
        let by = TimeDelta::days(1);
        let against = Verdict::Doubted(Doubt::Contradicted { who, by });
        assert!(!mends(against.clone(), None) && !mends(against, Some(day(20))));
    }
}
