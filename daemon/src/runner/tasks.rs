//! Four tasks of work, and the step that begins in them what is due.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::task::{JoinError, JoinHandle};

use super::due::{DayRuns, due};
use super::jobs::Workshop;
use super::reload::Watch;
use super::said::Said;
use super::standing::standing;
use crate::error_chain::error_chain;
use crate::records::Pauses;
use crate::store::jobs::Job;
use crate::store::{StoreError, Unusable, days};
use crate::telling::TellError;
use crate::trim::trim;

/// The clock may be so far behind the newest fetch before it is not believed.
const CLOCK_SLACK: TimeDelta = TimeDelta::minutes(10);

/// The work under way, at most one of each kind.
#[derive(Debug)]
pub(super) struct Tasks {
    workshop: Workshop,
    /// The files of the configuration.
    watch: Watch,
    /// Trouble that is noted nowhere else.
    said: Said,
    fetch: Option<Task>,
    tell: Option<Task>,
    deliver: Option<Task>,
    take_in: Option<Task>,
}

/// Work under way. It hands back the error that it could not note itself.
#[derive(Debug)]
struct Task {
    name: &'static str,
    /// What the store keeps account of.
    job: Option<Job>,
    work: JoinHandle<anyhow::Result<()>>,
}

impl Task {
    fn new(
        name: &'static str,
        work: impl Future<Output = anyhow::Result<()>> + Send + 'static,
    ) -> Self {
        Self {
            name,
            job: None,
            work: tokio::spawn(work),
        }
    }

    fn of(job: Job, work: impl Future<Output = anyhow::Result<()>> + Send + 'static) -> Self {
        Self {
            job: Some(job),
            ..Self::new(job.name(), work)
        }
    }
}

impl Tasks {
    pub(super) fn new(workshop: Workshop) -> Self {
        Self {
            watch: Watch::new(&workshop.config),
            said: Said::default(),
            workshop,
            fetch: None,
            tell: None,
            deliver: None,
            take_in: None,
        }
    }

    /// Reaps what has ended and begins what is due in every task that is free. Records that are only in use
    /// by another process just now are asked again at the next step.
    ///
    /// # Errors
    /// When the records cannot be read and the next step would meet the same.
    pub(super) async fn step(&mut self) -> Result<(), StoreError> {
        let now = self.workshop.clock.now();
        self.reap(now).await;
        if let Some(workshop) = self.watch.taken_over(&self.workshop, now) {
            self.workshop = workshop;
        }
        let read = self.read_runs(now).await;
        self.go_on(read, now)
    }

    /// Begins what is due, by what was read.
    fn go_on(
        &mut self,
        read: Result<(DayRuns, Option<DateTime<Utc>>), StoreError>,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        match read {
            Ok((runs, newest_fetch)) => {
                self.said.is_well("records");
                if self.is_believed(now, newest_fetch) {
                    self.begin_all(&runs, now);
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

    async fn read_runs(
        &self,
        now: DateTime<Utc>,
    ) -> Result<(DayRuns, Option<DateTime<Utc>>), StoreError> {
        let day = self.workshop.config.day_of(now);
        let store = &self.workshop.store;
        store
            .read(move |c| Ok((DayRuns::read(c, day)?, days::newest_fetch(c)?)))
            .await
    }

    /// Whether the clock may be right: by a wrong one, another day than today would be told.
    fn is_believed(&mut self, now: DateTime<Utc>, newest_fetch: Option<DateTime<Utc>>) -> bool {
        let behind = newest_fetch.filter(|newest| now + CLOCK_SLACK < *newest);
        match behind {
            None => self.said.is_well("clock"),
            Some(newest) => {
                if self.said.is_news("clock", &newest.to_string()) {
                    tracing::warn!(%now, %newest, "the clock is behind the newest fetch; nothing is done until it is right");
                }
            }
        }
        behind.is_none()
    }

    fn begin_all(&mut self, runs: &DayRuns, now: DateTime<Utc>) {
        for job in due(&self.workshop.config, runs, now) {
            self.begin(job, now);
        }
        if self.deliver.is_none() {
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
    }

    fn begin(&mut self, job: Job, now: DateTime<Utc>) {
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
                Job::Fetch | Job::FetchLate => drop(workshop.fetch(job, day).await?),
                Job::Tell => match workshop.tell(day, false, now).await {
                    Err(error @ TellError::Past { .. }) => {
                        let error = error.to_string();
                        workshop.note_failure(job, day, &error, now).await?;
                    }
                    told => drop(told?),
                },
                Job::Heartbeat => {}
            }
            Ok(())
        }));
    }

    /// Frees every task whose work has ended.
    async fn reap(&mut self, now: DateTime<Utc>) {
        let tasks = [
            &mut self.fetch,
            &mut self.tell,
            &mut self.deliver,
            &mut self.take_in,
        ];
        let mut ended = Vec::new();
        for task in tasks {
            ended.extend(task.take_if(|task| task.work.is_finished()));
        }
        for task in ended {
            let (name, job) = (task.name, task.job);
            let ended = task.work.await;
            if job.is_some() {
                trim();
            }
            match ended {
                Ok(Ok(())) => self.said.is_well(name),
                Ok(Err(error)) => {
                    let error = format!("{error:#}");
                    if self.said.is_news(name, &error) {
                        tracing::error!(job = name, error, "work failed");
                    }
                }
                Err(panic) => self.note_panic(name, job, &panic, now).await,
            }
        }
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

    /// Waits a bounded time for what has begun, then lets go of it: every job is safe to cut off.
    pub(super) async fn finish(self, within: Duration) {
        let tasks = [self.fetch, self.tell, self.deliver, self.take_in];
        let deadline = tokio::time::Instant::now() + within;
        for task in tasks.into_iter().flatten() {
            let name = task.name;
            let abort = task.work.abort_handle();
            match tokio::time::timeout_at(deadline, task.work).await {
                Ok(Ok(Ok(()))) => {}
                Ok(ended) => tracing::error!(job = name, ?ended, "work failed at the stop"),
                Err(_) => {
                    tracing::warn!(job = name, "cut off at the stop");
                    abort.abort();
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;
