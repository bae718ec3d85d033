//! The loop of `duskflight run`: ticks that only nudge, four tasks of work, a graceful stop.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use chrono::{DateTime, TimeDelta, Utc};
use tokio::sync::Notify;
use tokio::task::JoinHandle;
use tokio_cron_scheduler::{Job as CronJob, JobScheduler};
use tokio_util::sync::CancellationToken;

use super::due::{Standing, due};
use super::jobs::Workshop;
use super::reload::Watch;
use crate::clock::Clock;
use crate::store::days;
use crate::store::jobs::Job;
use crate::telling::TellError;

/// What is due is asked so often, by a monotonic clock.
const TICK: Duration = Duration::from_secs(30);
/// Work that has begun may take so long to end after a stop was asked for.
const STOP_WITHIN: Duration = Duration::from_secs(20);
/// The clock may be so far behind the newest fetch before it is not believed.
const CLOCK_SLACK: TimeDelta = TimeDelta::minutes(10);

/// Runs until `stop` is cancelled. Every tick, and every nudge of the scheduler, asks the store what
/// is due; nothing depends on a single one of them.
///
/// # Errors
/// When the scheduler cannot be started, or the database thread has ended.
pub async fn run(
    workshop: Workshop,
    clock: Arc<dyn Clock>,
    nudge: Arc<Notify>,
    stop: CancellationToken,
) -> anyhow::Result<()> {
    let mut scheduler = nudge_every_minute(&nudge)
        .await
        .context("start the scheduler")?;
    let mut tick = tokio::time::interval(TICK);
    let mut tasks = Tasks {
        watch: Watch::new(&workshop.config),
        said: BTreeMap::new(),
        workshop,
        clock,
        fetch: None,
        tell: None,
        deliver: None,
        take_in: None,
    };
    loop {
        tokio::select! {
            _ = tick.tick() => {}
            () = nudge.notified() => {}
            () = stop.cancelled() => break,
        }
        tasks.step().await?;
    }
    tracing::info!("stopping: no new work is begun");
    scheduler.shutdown().await.context("stop the scheduler")?;
    tasks.finish().await;
    Ok(())
}

async fn nudge_every_minute(nudge: &Arc<Notify>) -> anyhow::Result<JobScheduler> {
    let scheduler = JobScheduler::new().await?;
    let nudge = Arc::clone(nudge);
    let job = CronJob::new("0 * * * * *", move |_, _| nudge.notify_one())?;
    scheduler.add(job).await?;
    scheduler.start().await?;
    Ok(scheduler)
}

struct Tasks {
    workshop: Workshop,
    /// The files of the configuration.
    watch: Watch,
    /// The last failure of each kind of work that keeps no account of its own: it is said once, not at every
    /// tick.
    said: BTreeMap<&'static str, String>,
    clock: Arc<dyn Clock>,
    fetch: Option<Task>,
    tell: Option<Task>,
    deliver: Option<Task>,
    take_in: Option<Task>,
}

/// Work under way. It hands back the error that it could not note itself.
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
}

impl Tasks {
    /// Reaps what has ended and begins what is due in every task that is free.
    async fn step(&mut self) -> anyhow::Result<()> {
        let now = self.clock.now();
        let tasks = [
            &mut self.fetch,
            &mut self.tell,
            &mut self.deliver,
            &mut self.take_in,
        ];
        for task in tasks {
            if task.as_ref().is_some_and(|task| task.work.is_finished())
                && let Some(ended) = task.take()
            {
                reap(&self.workshop, &mut self.said, ended, now).await?;
            }
        }
        if let Some(workshop) = self.watch.taken_over(&self.workshop, now) {
            self.workshop = workshop;
        }
        let day = self.workshop.config.day_of(now);
        let (standing, newest_fetch) = self
            .workshop
            .store
            .read(move |c| {
                Ok::<_, crate::store::StoreError>((Standing::read(c, day)?, days::newest_fetch(c)?))
            })
            .await
            .context("read what is due")?;
        if newest_fetch.is_some_and(|newest| now + CLOCK_SLACK < newest) {
            tracing::warn!(%now, "the clock is behind the newest fetch; nothing is done until it is right");
            return Ok(());
        }
        for job in due(&self.workshop.config, &standing, now) {
            self.begin(job, now);
        }
        let (deliverer, taker) = (self.workshop.clone(), self.workshop.clone());
        if self.deliver.is_none() {
            let clock = Arc::clone(&self.clock);
            self.deliver = Some(Task::new("deliver", async move {
                deliverer.deliver(&*clock).await?;
                Ok(())
            }));
        }
        if self.take_in.is_none() && taker.config.drop_folder.is_some() {
            self.take_in = Some(Task::new("take in dropped files", async move {
                taker.take_in(now).await?;
                Ok(())
            }));
        }
        Ok(())
    }

    fn begin(&mut self, job: Job, now: DateTime<Utc>) {
        let task = match job {
            Job::Fetch | Job::FetchLate => &mut self.fetch,
            Job::Tell => &mut self.tell,
        };
        if task.is_some() {
            return;
        }
        let workshop = self.workshop.clone();
        let day = workshop.config.day_of(now);
        let work = async move {
            match job {
                Job::Fetch | Job::FetchLate => drop(workshop.fetch(job, day, now).await?),
                Job::Tell => match workshop.tell(day, false, now).await {
                    Err(error @ TellError::Past { .. }) => {
                        let error = error.to_string();
                        workshop.note_failure(job, day, &error, now).await?;
                    }
                    told => drop(told?),
                },
            }
            Ok(())
        };
        *task = Some(Task {
            job: Some(job),
            ..Task::new(job.name(), work)
        });
    }

    /// Waits a bounded time for what has begun, then lets go of it: every job is safe to cut off.
    async fn finish(self) {
        let tasks = [self.fetch, self.tell, self.deliver, self.take_in];
        let deadline = tokio::time::Instant::now() + STOP_WITHIN;
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

/// A job's own failure is noted by the job; a panic is noted here, so that the next tick goes on.
async fn reap(
    workshop: &Workshop,
    said: &mut BTreeMap<&'static str, String>,
    task: Task,
    now: DateTime<Utc>,
) -> anyhow::Result<()> {
    let name = task.name;
    match (task.work.await, task.job) {
        (Ok(Ok(())), _) => drop(said.remove(name)),
        (Ok(Err(error)), _) => {
            let error = format!("{error:#}");
            if said.get(name) != Some(&error) {
                tracing::error!(job = name, error, "work failed");
                said.insert(name, error);
            }
        }
        (Err(panic), Some(job)) => {
            let day = workshop.config.day_of(now);
            workshop
                .note_failure(job, day, &panic.to_string(), now)
                .await?;
        }
        (Err(panic), None) => tracing::error!(job = name, error = %panic, "work panicked"),
    }
    Ok(())
}
