//! Five tasks of work, and the step that begins in them what is due, by a clock that is believed.

mod by_clock;

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rusqlite::Connection;
use tokio::sync::{Mutex, Notify};
use tokio::task::JoinError;

use super::due::{DayRuns, due, fetch_deadline};
use super::jobs::Workshop;
use super::reload::Watch;
use super::said::Said;
use super::standing::standing;
use super::task::{Task, finish};
use super::timekeeper::Timekeeper;
use crate::error_chain::error_chain;
use crate::inbox::folder::Seen;
use crate::records::Pauses;
use crate::store::jobs::{self, Job, RunState};
use crate::store::set_aside::{self, Ahead};
use crate::store::{StoreError, Unusable, backup, days};
use crate::telling::TellError;
use crate::trim::trim;

/// The work under way, at most one of each kind.
#[derive(Debug)]
pub(super) struct Tasks {
    workshop: Workshop,
    /// The files of the configuration.
    watch: Watch,
    /// Trouble that is noted nowhere else.
    said: Said,
    /// Watches over the machine's clock.
    time: Timekeeper,
    /// The day on which it was last looked whether there is a copy of it.
    copied: Option<NaiveDate>,
    /// The uptime since which the clock holds up what is due.
    held_since: Option<TimeDelta>,
    fetch: Option<Task>,
    tell: Option<Task>,
    deliver: Option<Task>,
    take_in: Option<Task>,
    answers: Option<Task>,
    mailbox: Option<Task>,
    /// Messages that were looked at before.
    seen: Arc<Mutex<Seen>>,
    /// What has a step taken at once.
    nudge: Arc<Notify>,
    ask_time: Option<Task>,
}

/// What the records say at a step.
struct Looked {
    runs: DayRuns,
    newest: days::Newest,
    /// The newest day before today that was told.
    told_before: Option<NaiveDate>,
    /// What a clock dated ahead.
    ahead: Ahead,
}

impl Tasks {
    pub(super) fn new(workshop: Workshop) -> Self {
        let time = Timekeeper::new(Arc::clone(&workshop.clock));
        Self {
            watch: Watch::new(&workshop.config),
            said: Said::default(),
            workshop: Workshop {
                clock: time.steady(),
                ..workshop
            },
            time,
            copied: None,
            held_since: None,
            fetch: None,
            tell: None,
            deliver: None,
            take_in: None,
            answers: None,
            mailbox: None,
            seen: Arc::default(),
            nudge: Arc::default(),
            ask_time: None,
        }
    }

    /// The same, nudging for a step where one is wanted at once.
    pub(super) fn nudging(self, nudge: &Arc<Notify>) -> Self {
        let nudge = Arc::clone(nudge);
        Self { nudge, ..self }
    }

    /// Reaps what has ended and begins what is due in every task that is free. Records that are only in use
    /// by another process just now are asked again at the next step.
    ///
    /// # Errors
    /// When the records cannot be used and the next step would meet the same.
    pub(super) async fn step(&mut self) -> anyhow::Result<()> {
        let now = self.time.look();
        let steady = self.workshop.clock.now();
        self.reap(steady).await?;
        if let Some(workshop) = self.watch.taken_over(&self.workshop, steady) {
            self.workshop = workshop;
        }
        let looked = self.look(now).await;
        Ok(self.go_on(looked, now).await?)
    }

    /// What the tasks work with.
    pub(super) const fn workshop(&self) -> &Workshop {
        &self.workshop
    }

    /// Begins what is due, by what was read.
    async fn go_on(
        &mut self,
        looked: Result<Looked, StoreError>,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        match looked {
            Ok(looked) => {
                self.said.is_well("records");
                if let Some(agree) = self.believed(now, looked.newest.fetch).await
                    && self.set_aside(&looked, agree, now).await
                {
                    self.begin_all(&looked, agree, now).await;
                }
                Ok(())
            }
            Err(error) if Unusable::of(&error) == Some(Unusable::Busy) => {
                let error = error_chain(&error);
                if self.said.is_news("records", &error) {
                    tracing::warn!(error, "the records are in use; they are asked again soon");
                }
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    /// How it stands, by the records.
    ///
    /// # Errors
    /// When they cannot be read.
    pub(super) async fn standing(&self) -> Result<String, StoreError> {
        let config = Arc::clone(&self.workshop.config);
        let store = &self.workshop.store;
        store.read(move |c| standing(c, &config)).await
    }

    async fn look(&self, now: DateTime<Utc>) -> Result<Looked, StoreError> {
        let config = &self.workshop.config;
        let day = config.day_of(now);
        let stations: Vec<_> = config.stations.iter().map(|s| s.id.clone()).collect();
        let read = move |c: &Connection| {
            Ok(Looked {
                runs: DayRuns::read(c, day)?,
                newest: days::newest(c, &stations)?,
                told_before: jobs::done_before(c, Job::Tell, day)?,
                ahead: set_aside::ahead(c, day, now)?,
            })
        };
        self.workshop.store.read(read).await
    }

    async fn begin_all(&mut self, looked: &Looked, agree: usize, now: DateTime<Utc>) {
        let may_tell = self.may_tell(looked, agree, now).await;
        for job in due(&self.workshop.config, &looked.runs, now) {
            if job != Job::Tell || may_tell {
                let until = match job {
                    Job::Fetch => fetch_deadline(&self.workshop.config, &looked.runs, now),
                    _ => None,
                };
                self.begin(job, until, now);
            }
        }
        self.copy_what_was_told(&looked.runs, now);
        if may_tell && self.deliver.is_none() {
            let workshop = self.workshop.clone();
            self.deliver = Some(Task::new("deliver", async move {
                workshop.deliver().await?;
                workshop.ping().await?;
                Ok(())
            }));
        }
        if self.take_in.is_none() && self.workshop.config.drop_folder.is_some() {
            let workshop = self.workshop.clone();
            self.take_in = Some(Task::new("take in dropped files", async move {
                workshop.take_in(Pauses::RUNNING).await?;
                Ok(())
            }));
        }
        self.take_answers();
    }

    /// Takes answers that have come in; what is to be told of them leaves at once.
    fn take_answers(&mut self) {
        let has_folder = self
            .workshop
            .config
            .inbox
            .as_ref()
            .is_some_and(|inbox| inbox.folder.is_some());
        if self.answers.is_none() && has_folder {
            let (workshop, seen) = (self.workshop.clone(), Arc::clone(&self.seen));
            let nudge = Arc::clone(&self.nudge);
            self.answers = Some(Task::new("take answers", async move {
                if workshop
                    .take_answers(&mut *seen.lock().await, Pauses::RUNNING)
                    .await?
                    > 0
                {
                    nudge.notify_one();
                }
                Ok(())
            }));
        }
        let server = self
            .workshop
            .config
            .inbox
            .as_ref()
            .and_then(|inbox| inbox.imap.clone());
        if let Some(server) = server.filter(|_| self.mailbox.is_none()) {
            let (workshop, nudge) = (self.workshop.clone(), Arc::clone(&self.nudge));
            self.mailbox = Some(Task::new("look after the mailbox", async move {
                Ok(workshop.look_after_mailbox(&server, &nudge).await?)
            }));
        }
    }

    /// A day that another process told, and ended before there was a copy, is looked at once.
    fn copy_what_was_told(&mut self, runs: &DayRuns, now: DateTime<Utc>) {
        let config = &self.workshop.config;
        let day = config.day_of(now);
        let told = runs.tell.as_ref();
        if told.is_some_and(|run| run.state == RunState::Done) && self.copied != Some(day) {
            self.copied = Some(day);
            if backup::is_owed(&config.database, day) {
                self.begin(Job::Tell, None, now);
            }
        }
    }

    /// Begins a job, unless one of its kind is under way; a fetch ends at `until`.
    fn begin(&mut self, job: Job, until: Option<DateTime<Utc>>, now: DateTime<Utc>) {
        let task = match job {
            Job::Fetch | Job::FetchLate => &mut self.fetch,
            Job::Tell => &mut self.tell,
            Job::Heartbeat => return,
        };
        if task.is_some() {
            return;
        }
        let workshop = self.workshop.clone();
        let day = workshop.config.day_of(now);
        *task = Some(Task::of(job, async move {
            match job {
                Job::Fetch | Job::FetchLate => drop(workshop.fetch(job, day, until).await?),
                Job::Tell => {
                    workshop.store.check().await?;
                    match workshop.tell(day, false, now).await {
                        Err(error @ TellError::Past { .. }) => {
                            let error = error.to_string();
                            workshop.note_failure(job, day, &error, now).await?;
                        }
                        told => drop(told?),
                    }
                }
                Job::Heartbeat => {}
            }
            Ok(())
        }));
    }

    /// Frees every task whose work has ended.
    ///
    /// # Errors
    /// What one of them met, where the records cannot be used and that lasts.
    async fn reap(&mut self, now: DateTime<Utc>) -> anyhow::Result<()> {
        let tasks = [
            &mut self.fetch,
            &mut self.tell,
            &mut self.deliver,
            &mut self.take_in,
            &mut self.answers,
            &mut self.mailbox,
            &mut self.ask_time,
        ];
        let mut ended = Vec::new();
        for task in tasks {
            ended.extend(task.take_if(|task| task.work.is_finished()));
        }
        let mut lasting = Ok(());
        for task in ended {
            let (name, job) = (task.name, task.job);
            let ended = task.work.await;
            if job.is_some() {
                trim();
            }
            match ended {
                Ok(Ok(())) => self.said.is_well(name),
                Ok(Err(error)) if Unusable::of(&*error).is_some_and(Unusable::lasts) => {
                    lasting = Err(error.context(name));
                }
                Ok(Err(error)) => {
                    let error = format!("{error:#}");
                    if self.said.is_news(name, &error) {
                        tracing::error!(job = name, error, "work failed");
                    }
                }
                Err(panic) => self.note_panic(name, job, &panic, now).await,
            }
        }
        lasting
    }

    /// A job's own failure is noted by the job, a panic here, so that it is tried again. One that cannot be
    /// noted is still running by the records, which has it begun anew, too.
    async fn note_panic(
        &self,
        name: &str,
        job: Option<Job>,
        panic: &JoinError,
        now: DateTime<Utc>,
    ) {
        let Some(job) = job else {
            return tracing::error!(job = name, error = %panic, "work panicked");
        };
        let day = self.workshop.config.day_of(now);
        let panic = panic.to_string();
        let noted = self.workshop.note_failure(job, day, &panic, now);
        if let Err(error) = noted.await {
            tracing::error!(
                job = name,
                error = error_chain(&error),
                "the panic cannot be noted"
            );
        }
    }

    /// Takes some work for a round of delivery under way.
    #[cfg(test)]
    pub(super) fn is_delivering(
        &mut self,
        work: impl Future<Output = anyhow::Result<()>> + Send + 'static,
    ) {
        self.deliver = Some(Task::new("deliver", work));
    }

    /// Waits a bounded time for what has begun, then lets go of it.
    pub(super) async fn finish(&mut self, within: Duration) {
        // It mostly waits, and is safe to cut off.
        if let Some(mailbox) = self.mailbox.take() {
            mailbox.work.abort();
        }
        let tasks = [
            self.fetch.take(),
            self.tell.take(),
            self.deliver.take(),
            self.take_in.take(),
            self.answers.take(),
            self.ask_time.take(),
        ];
        finish(tasks.into_iter().flatten(), within).await;
    }
}

#[cfg(test)]
mod tests;
