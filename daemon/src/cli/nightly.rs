//! `duskflight nightly`: one night's work by hand or from another scheduler.

use anyhow::Context;
use clap::Args;
use duskflight_core::wording::plural;

use super::Failure;
use super::common::{AsOf, ConfigDir, print, workshop};
use super::records::imported_words;
use crate::clock;
use crate::mail::delivery::Delivered;
use crate::records::{Outcome, Pauses, Taken};
use crate::runner::Lock;
use crate::runner::jobs::Workshop;
use crate::store::jobs::Job;
use crate::store::{feed_pace, outbox_report};
use crate::telling::{TellError, Told, weekday_name};

/// Do one night's work: take in dropped files and answers, fetch, recompute, tell and deliver
///
/// A day that was told before is not told again. Growers' alerts wait for the adviser's digest and
/// the hold time: the next call, or `run`, delivers them.
#[derive(Debug, Args)]
pub(super) struct Nightly {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Recompute a day that was told before; the ledger sees to it that nothing is told twice
    #[arg(long)]
    again: bool,
}

impl Nightly {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let _lock = Lock::take(&config.database)?;
        let (day, clock) = self.as_of.past_moment(&config)?;
        let workshop = workshop(&config, clock)?;
        workshop.store.check().await?;
        take_in(&workshop).await?;
        take_answers(&workshop).await?;
        // Whoever calls it by hand may just have mended what made the requests before vain.
        let anew = workshop.store.write(|t| feed_pace::begin_anew(t)).await;
        anew.context("fetch")?;
        let fetched = workshop
            .fetch(Job::Fetch, day, None)
            .await
            .context("fetch")?;
        print(&format!(
            "fetch {day}: {} received, {} new or different\n",
            plural(fetched.days, "day"),
            fetched.changed
        ))?;
        for (station, error) in &fetched.failed {
            print(&format!("fetch {day}: station {station} failed: {error}\n"))?;
        }
        for (station, remarks) in &fetched.remarks {
            print(&format!("fetch {day}: station {station}: {remarks}\n"))?;
        }
        // What was fetched has landed before.
        let now = workshop.clock.now();
        let told = workshop.tell(day, self.again, now).await;
        match &told {
            Ok(Told::Before) => print(&format!("tell {day}: told before\n"))?,
            Ok(Told::Missing { mails }) => print(&format!(
                "tell {day}: records are missing, so nothing is told but that: {} queued\n",
                plural(*mails, "mail")
            ))?,
            Ok(Told::Now { .. }) if config.pace_on(day).is_none() => print(&format!(
                "tell {day}: out of season, nobody is told today; digests go every day from {} to {}, else on \
                 {}s\n",
                config.season_from,
                config.season_to,
                weekday_name(config.off_season_day)
            ))?,
            Ok(Told::Now { mails, notices }) => {
                print(&format!(
                    "tell {day}: {}, {} queued\n",
                    plural(*notices, "notice"),
                    plural(*mails, "mail")
                ))?;
            }
            Err(_) => {}
        }
        let missing = match told {
            Ok(told) => matches!(told, Told::Missing { .. }),
            Err(error @ TellError::Past { .. }) => return Err(Failure::usage(error)),
            Err(error) => return Err(anyhow::Error::from(error).into()),
        };
        // Whoever calls it by hand may just have mended what held the mails up.
        let try_at_once = workshop
            .store
            .write(|t| outbox_report::try_at_once(t))
            .await;
        try_at_once.context("deliver")?;
        let delivered = workshop.deliver().await.context("deliver")?;
        print(&delivered_words(&delivered))?;
        if let Some(error) = delivered.stopped {
            return Err(Failure::try_later(anyhow::anyhow!(
                "mails are kept: {}",
                error.words()
            )));
        }
        if missing {
            return Err(Failure::try_later(anyhow::anyhow!(
                "records are missing: see `duskflight accept-records`, or put them back"
            )));
        }
        if !fetched.failed.is_empty() && fetched.failed.len() == config.stations.len() {
            return Err(Failure::try_later(anyhow::anyhow!(
                "every station failed; the day was told from what is stored"
            )));
        }
        Ok(())
    }
}

/// Takes in what was dropped. It is entered now, whichever day is told; a folder that cannot be read stands
/// in the digest and does not hold it up.
async fn take_in(workshop: &Workshop) -> Result<(), Failure> {
    let workshop = Workshop {
        clock: clock::system(),
        ..workshop.clone()
    };
    let taken = match workshop.take_in(Pauses::ONCE).await {
        Ok(taken) => taken,
        Err(error) => {
            let error = anyhow::Error::from(error);
            return print(&format!("dropped files are not taken in: {error:#}\n"));
        }
    };
    for Taken { name, outcome } in taken {
        print(&match outcome {
            Outcome::Imported(imported) => format!("{name}: {}\n", imported_words(&imported)),
            Outcome::Refused(why) => format!("refused: {why}\n"),
        })?;
    }
    Ok(())
}

/// Takes the answers that have come in, as of now like what was dropped. A mailbox that cannot be used holds nothing up.
async fn take_answers(workshop: &Workshop) -> Result<(), Failure> {
    let workshop = Workshop {
        clock: clock::system(),
        ..workshop.clone()
    };
    match workshop.take_all_answers().await {
        Ok(()) => Ok(()),
        Err(error) => print(&format!("answers are not taken in: {error:#}\n")),
    }
}

fn delivered_words(delivered: &Delivered) -> String {
    let given_up = match delivered.given_up {
        0 => String::new(),
        mails => format!(", {mails} given up"),
    };
    format!(
        "deliver: {} sent, {} kept{given_up}\n",
        plural(delivered.sent, "mail"),
        delivered.kept
    )
}
