//! The jobs: each is also a command, through the same function.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::ledger::MissingRecords;

use super::fetching::{Fetched, Fetching};
use super::operator::{self, Matter};
use crate::clock::{Clock, day_before};
use crate::config::{Config, Station};
use crate::error_chain::error_chain;
use crate::feed::Client;
use crate::inbox::Counter;
use crate::inbox::folder::{FolderError, Seen, look_through};
use crate::mail::delivery::{Delivered, deliver};
use crate::mail::render::render;
use crate::mail::transport::Transport;
use crate::mail::whole_calendar::{self, calendars};
use crate::records::{DropError, Outcome, Pauses, Taken, take_in};
use crate::store::folding::fold_all;
use crate::store::jobs::{self, Job};
use crate::store::journal::{self, JournalError};
use crate::store::{Store, StoreError, Unusable, backup, days, outbox, retention};
use crate::telling::{TellError, Told, tell, tell_missing};

/// Why a mail that waited is folded while records are missing.
const WERE_MISSING: &str = "records were missing";

/// What every job works with, but for the records.
#[derive(Debug, Clone)]
pub struct Tools {
    /// The configuration.
    pub config: Arc<Config>,
    /// The way to the feeds.
    pub client: Arc<Client>,
    /// The time at which what comes in lands.
    pub clock: Arc<dyn Clock>,
}

impl Tools {
    /// Opens the records to work with them.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open(&self) -> Result<Workshop, StoreError> {
        let Self {
            config,
            client,
            clock,
        } = self.clone();
        Ok(Workshop {
            store: Store::open(&config.database)?,
            config,
            client,
            clock,
        })
    }
}

/// What every job works with.
#[derive(Debug, Clone)]
pub struct Workshop {
    /// The records.
    pub store: Store,
    /// The configuration.
    pub config: Arc<Config>,
    /// The way to the feeds.
    pub client: Arc<Client>,
    /// The time at which what comes in lands.
    pub clock: Arc<dyn Clock>,
}

impl Workshop {
    /// Fetches for a civil day every station that has not come in since the job was begun first. The
    /// job has failed while any station has; a failure is noted, so that it is tried again later. From `until` on nothing
    /// more is asked.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn fetch(
        &self,
        job: Job,
        day: NaiveDate,
        until: Option<DateTime<Utc>>,
    ) -> Result<Fetched, StoreError> {
        let fetched = self.fetch_owed(job, day, until).await;
        match &fetched {
            Ok(fetched) if fetched.is_as_before() => tracing::debug!(
                day = %day,
                failed = fetched.failed.len(),
                "stations still fail"
            ),
            Ok(fetched) => tracing::info!(
                day = %day,
                days = fetched.days,
                changed = fetched.changed,
                failed = fetched.failed.len(),
                "stations fetched"
            ),
            Err(error) => {
                self.note_failure(job, day, &error_chain(error), self.clock.now())
                    .await?;
            }
        }
        fetched
    }

    async fn fetch_owed(
        &self,
        job: Job,
        day: NaiveDate,
        until: Option<DateTime<Utc>>,
    ) -> Result<Fetched, StoreError> {
        let came_in = self
            .store
            .write_at(&self.clock, move |t, now| {
                jobs::begin(t, job, day, now)?;
                let first = jobs::run(t, job, day)?.map_or(now, |run| run.first);
                days::came_in_since(t, first, day_before(day))
            })
            .await?;
        let owed = |station: &&Station| !came_in.contains(station.id.as_str());
        let stations: Vec<&Station> = self.config.stations.iter().filter(owed).collect();
        let fetching = Fetching {
            store: self.store.clone(),
            config: Arc::clone(&self.config),
            client: Arc::clone(&self.client),
            clock: Arc::clone(&self.clock),
            window: (job, day),
            until,
        };
        let fetched = fetching.fetch_all(&stations).await?;
        let error = fetched.failed.first().map(|(_, error)| error.clone());
        let (config, failed) = (Arc::clone(&self.config), fetched.failed.clone());
        let tried: Vec<Station> = stations.into_iter().cloned().collect();
        self.store
            .write_at(&self.clock, move |t, now| {
                operator::note(t, &config, Matter::Job(job.name()), None, now)?;
                for station in &tried {
                    let failed = failed.iter().find(|(id, _)| *id == station.id.as_str());
                    let error = failed.map(|(_, error)| error.as_str());
                    operator::note(t, &config, Matter::Station(station), error, now)?;
                }
                jobs::finish(t, job, day, now, error.as_deref())
            })
            .await?;
        Ok(fetched)
    }

    /// Recomputes and tells a civil day. A failure is noted, so that it is tried again later.
    ///
    /// # Errors
    /// [`TellError`].
    pub async fn tell(
        &self,
        day: NaiveDate,
        again: bool,
        now: DateTime<Utc>,
    ) -> Result<Told, TellError> {
        let told = match self.match_journal(now).await? {
            Some(missing) => tell_missing(&self.store, &self.config, day, missing, now).await,
            None => tell(&self.store, &self.config, day, again, now).await,
        };
        match &told {
            // A crash may have come between.
            Ok(Told::Before) if backup::is_owed(&self.config.database, day) => {
                self.look_after(now).await?;
            }
            Ok(Told::Before) => {}
            Ok(Told::Missing { mails }) => {
                tracing::error!(day = %day, mails, "records are missing; nothing is told but that");
                self.render_told().await;
            }
            Ok(Told::Now { mails, notices }) => {
                tracing::info!(day = %day, mails, notices, "day told");
                let config = Arc::clone(&self.config);
                let told = Matter::Job(Job::Tell.name());
                self.store
                    .write(move |t| operator::note(t, &config, told, None, now))
                    .await?;
                self.render_told().await;
                self.look_after(now).await?;
            }
            Err(TellError::Past { .. }) => {}
            Err(error) => {
                self.note_failure(Job::Tell, day, &error_chain(error), now)
                    .await?;
            }
        }
        told
    }

    /// Brings the records and the journal of what left the house together, and gives what of the records is missing;
    /// mails that wait for others than advisers are folded then. Without the journal the ledger decides alone, and the
    /// digest says so.
    async fn match_journal(
        &self,
        now: DateTime<Utc>,
    ) -> Result<Option<MissingRecords>, StoreError> {
        let journal = journal::path_beside(&self.config.database);
        let matched = self
            .store
            .write(move |t| {
                let matched = journal::match_up(t, &journal, now)?;
                if matched.missing.is_some() {
                    fold_all(t, now, WERE_MISSING)?;
                }
                Ok(matched)
            })
            .await;
        match matched {
            Ok(matched) => {
                if !matched.learnt.is_empty() {
                    let mails = matched.learnt.len();
                    tracing::warn!(mails, "the records are older than what was sent");
                }
                Ok(matched.missing)
            }
            Err(JournalError::Store(error)) => Err(error),
            Err(error @ JournalError::File { .. }) => {
                tracing::error!(error = error_chain(&error), "the journal cannot be used");
                Ok(None)
            }
        }
    }

    /// What the records need once a day is told.
    async fn look_after(&self, now: DateTime<Utc>) -> Result<(), StoreError> {
        self.prune(now).await;
        self.back_up(now).await
    }

    /// Prunes what was kept long enough. The night is told all the same, and the next one tries again.
    async fn prune(&self, now: DateTime<Utc>) {
        let journal = journal::path_beside(&self.config.database);
        let kept = self.config.mails_kept();
        if let Err(error) = retention::prune(&self.store, &journal, kept, now).await {
            tracing::warn!(error = error_chain(&error), "old records are not pruned");
        }
    }

    /// Keeps a copy of the day. The night is told all the same; who looks after the box hears of it when it fails
    /// again and again, and at once when it is the records that are damaged.
    async fn back_up(&self, now: DateTime<Utc>) -> Result<(), StoreError> {
        let (database, day) = (self.config.database.clone(), self.config.day_of(now));
        let copied = match self.store.checkpoint().await {
            Ok(()) => tokio::task::spawn_blocking(move || backup::of_day(&database, day))
                .await
                .unwrap_or(Err(StoreError::Ended)),
            Err(error) => Err(error),
        };
        let damaged = |error: &StoreError| Unusable::of(error) == Some(Unusable::Damaged);
        if copied.as_ref().is_err_and(damaged) {
            return copied.map(drop);
        }
        let error = copied.err().map(|error| error_chain(&error));
        if let Some(error) = &error {
            tracing::error!(error, "there is no backup of this day");
        }
        let config = Arc::clone(&self.config);
        self.store
            .write(move |t| {
                operator::note(t, &config, Matter::Job("backup"), error.as_deref(), now)
            })
            .await?;
        self.store.checkpoint().await
    }

    /// Renders what was told. The day is told all the same, and each delivery tries again.
    async fn render_told(&self) {
        if let Err(error) = self.render().await {
            tracing::warn!(error = error_chain(&error), "mails are not composed yet");
        }
    }

    /// Makes the bytes of mails that wait for them.
    pub(super) async fn render(&self) -> Result<(), StoreError> {
        for (id, error) in render(&self.store).await?.failed {
            let error = error_chain(&error);
            tracing::error!(mail.id = %id, error, "mail cannot be composed");
        }
        Ok(())
    }

    /// Notes that a job failed outside its own transaction.
    ///
    /// # Errors
    /// When the records cannot be written.
    pub async fn note_failure(
        &self,
        job: Job,
        day: NaiveDate,
        error: &str,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        tracing::error!(job = job.name(), day = %day, error, "job failed");
        let (config, error) = (Arc::clone(&self.config), error.to_owned());
        self.store
            .write(move |t| {
                jobs::begin(t, job, day, now)?;
                operator::note(t, &config, Matter::Job(job.name()), Some(&error), now)?;
                jobs::finish(t, job, day, now, Some(&error))
            })
            .await
    }

    /// Imports what was dropped into the watched folder.
    ///
    /// # Errors
    /// When the folder or the records cannot be read or written.
    pub async fn take_in(&self, pauses: Pauses) -> Result<Vec<Taken>, DropError> {
        let taken = take_in(&self.store, &self.config, pauses, &self.clock).await?;
        for Taken { name, outcome } in &taken {
            match outcome {
                Outcome::Imported(imported) => tracing::info!(
                    file = name,
                    added = imported.added,
                    changed = imported.changed.len(),
                    not_applied = imported.superseded,
                    remarks = imported.remarks.join("; "),
                    "dropped file imported"
                ),
                Outcome::Refused(why) => tracing::warn!(file = name, why, "dropped file refused"),
            }
        }
        Ok(taken)
    }

    /// Takes the answers in the watched folder, and queues receipts; gives how many.
    ///
    /// # Errors
    /// When the folder or the records cannot be read or written.
    pub async fn take_answers(
        &self,
        seen: &mut Seen,
        pauses: Pauses,
    ) -> Result<usize, FolderError> {
        let counter = self.counter();
        let inbox = self.config.inbox.as_ref();
        if let Some(folder) = inbox.and_then(|inbox| inbox.folder.as_ref()) {
            let taken = look_through(&counter, folder, seen, pauses).await?;
            if taken > 0 {
                tracing::info!(taken, "answers taken");
            }
        }
        Ok(counter.write_receipts().await?)
    }

    /// Where answers are handed in.
    #[must_use]
    pub fn counter(&self) -> Counter {
        Counter {
            store: self.store.clone(),
            config: Arc::clone(&self.config),
            clock: Arc::clone(&self.clock),
        }
    }

    /// Sends what may be sent, rendered first where a crash left it without its bytes. What the journal knows as sent is not sent again, also when an older database
    /// was put back since.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn deliver(&self) -> Result<Delivered, StoreError> {
        self.render().await?;
        let now = self.clock.now();
        let may_leave = self.store.read(move |c| outbox::may_leave(c, now)).await?;
        if may_leave {
            self.match_journal(now).await?;
        }
        let transport = Transport::of(&self.config, self.client.heard());
        let delivered = deliver(&self.store, &transport, &*self.clock).await?;
        if delivered.sent > 0 {
            tracing::info!(sent = delivered.sent, "mails delivered");
            self.match_journal(self.clock.now()).await?;
            self.write_calendars().await?;
        }
        Ok(delivered)
    }

    /// Writes everybody's whole calendar anew where a folder is named for them. One that cannot be written stays as
    /// it is, and the next mail that leaves tries again.
    async fn write_calendars(&self) -> Result<(), StoreError> {
        let Some(folder) = &self.config.calendars else {
            return Ok(());
        };
        let (config, day) = (
            Arc::clone(&self.config),
            self.config.day_of(self.clock.now()),
        );
        let files = self.store.read(move |c| calendars(c, &config, day)).await?;
        if let Err(error) = whole_calendar::write(folder, &files) {
            tracing::error!(error = error_chain(&error), "calendars are not written");
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
