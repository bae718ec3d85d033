//! The loop of `duskflight run`: ticks that only nudge, a graceful stop.

use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;
use tokio_cron_scheduler::{Job as CronJob, JobScheduler};
use tokio_util::sync::CancellationToken;

use super::jobs::{Tools, Workshop};
use super::service_manager::{self, USUAL};
use super::standstill::Standstill;
use super::tasks::Tasks;
use crate::error_chain::error_chain;
use crate::page::{self, Opened};
use crate::store::{Unusable, outbox_report};
use crate::trim::trim;

/// Work that has begun may take so long to end after a stop was asked for.
const STOP_WITHIN: Duration = Duration::from_secs(20);

/// Runs until `stop` is cancelled. Every tick, and every nudge of the scheduler, asks the store what
/// is due; nothing depends on a single one of them. What has begun ends before this does. While the disk is full or
/// fails, or the database is damaged, nothing is done but to say so and try again.
///
/// # Errors
/// When the scheduler cannot be started, or the records are missing or cannot be read for another reason.
pub async fn run(
    mut tools: Tools,
    nudge: Arc<Notify>,
    stop: CancellationToken,
) -> anyhow::Result<()> {
    let (shown, farm) = watch::channel(None);
    let page = serve_page(&tools, farm, &stop);
    let worked = work_on(&mut tools, &nudge, &stop, &shown).await;
    // Where the work failed for good nobody asked for a stop.
    stop.cancel();
    shown.send_replace(None);
    if let Some(page) = page
        && let Err(panic) = page.await
    {
        tracing::error!(error = %panic, "the page panicked");
    }
    worked
}

/// Works until the stop, through whatever standstills there are.
async fn work_on(
    tools: &mut Tools,
    nudge: &Arc<Notify>,
    stop: &CancellationToken,
    shown: &Shown,
) -> anyhow::Result<()> {
    let mut standstill = Standstill::new()?;
    loop {
        let worked = work(tools, &mut standstill, nudge, stop, shown).await;
        let Err(error) = worked else {
            break;
        };
        shown.send_replace(None);
        let unusable = Unusable::of(&*error).filter(|unusable| unusable.lasts());
        let Some(unusable) = unusable else {
            return Err(error);
        };
        let why = format!("{error:#}");
        tokio::select! {
            () = stop.cancelled() => break,
            () = standstill.wait(unusable, &why, tools, nudge, service_manager::alive) => {}
        }
    }
    service_manager::stopping();
    Ok(())
}

/// Shows the farm in the office network, where that is declared. Whatever befalls it holds up nothing else.
fn serve_page(tools: &Tools, farm: page::Farm, stop: &CancellationToken) -> Option<JoinHandle<()>> {
    let page = tools.config.page.clone()?;
    let (clock, stop) = (Arc::clone(&tools.clock), stop.clone());
    Some(tokio::spawn(page::serve(page, farm, clock, stop)))
}

/// What the page works with, as it changes.
type Shown = watch::Sender<Option<Opened>>;

/// Has the page work with what the tasks work with.
fn show(shown: &Shown, workshop: &Workshop) {
    let config = &workshop.config;
    shown.send_if_modified(|shown| match shown {
        Some(opened) if Arc::ptr_eq(&opened.config, config) => false,
        Some(opened) => {
            opened.config = Arc::clone(config);
            true
        }
        None => match Opened::new(workshop.store.clone(), Arc::clone(config)) {
            Ok(opened) => {
                *shown = Some(opened);
                true
            }
            // The next step tries again.
            Err(error) => {
                let error = error_chain(&error);
                tracing::warn!(error, "the page cannot read the records");
                false
            }
        },
    });
}

/// Works until the stop, or until the records cannot be used.
async fn work(
    tools: &mut Tools,
    standstill: &mut Standstill,
    nudge: &Arc<Notify>,
    stop: &CancellationToken,
    shown: &Shown,
) -> anyhow::Result<()> {
    let workshop = tools.open()?;
    service_manager::alive("checking the records");
    workshop.store.check().await?;
    trim();
    // It may have been started anew because what held the mails up is mended.
    let try_at_once = workshop
        .store
        .write(|t| outbox_report::try_at_once(t))
        .await;
    try_at_once.context("let mails be tried")?;
    standstill.is_over(&workshop.store, tools).await?;
    let mut tasks = Tasks::new(workshop).nudging(nudge);
    let worked = go_on(&mut tasks, nudge, stop, shown, service_manager::alive).await;
    // What was taken over meanwhile is in force.
    tools.config = Arc::clone(&tasks.workshop().config);
    let damaged = |error: &anyhow::Error| Unusable::of(&**error) == Some(Unusable::Damaged);
    if worked.as_ref().is_err_and(damaged) {
        tasks.workshop().store.leave_as_it_is().await?;
    }
    worked
}

async fn go_on(
    tasks: &mut Tasks,
    nudge: &Arc<Notify>,
    stop: &CancellationToken,
    shown: &Shown,
    alive: impl Fn(&str),
) -> anyhow::Result<()> {
    show(shown, tasks.workshop());
    let mut scheduler = nudge_every_minute(nudge)
        .await
        .context("start the scheduler")?;
    let stepped = step_by_step(tasks, nudge, stop, shown, alive).await;
    if stop.is_cancelled() {
        tracing::info!("stopping: no new work is begun");
    }
    let stopped = scheduler.shutdown().await.context("stop the scheduler");
    tasks.finish(STOP_WITHIN).await;
    stepped.and(stopped)
}

/// Takes a step at every tick and nudge, up to the stop or the first step that failed for good. A sign of life
/// after each: a step asks the thread that owns the records, so one that hangs keeps this silent, too.
async fn step_by_step(
    tasks: &mut Tasks,
    nudge: &Notify,
    stop: &CancellationToken,
    shown: &Shown,
    alive: impl Fn(&str),
) -> anyhow::Result<()> {
    let mut tick = tokio::time::interval(service_manager::beat(USUAL));
    loop {
        tokio::select! {
            _ = tick.tick() => {}
            () = nudge.notified() => {}
            () = stop.cancelled() => return Ok(()),
        }
        tasks.step().await.context("read what is due")?;
        show(shown, tasks.workshop());
        match tasks.standing().await {
            Ok(standing) => alive(&standing),
            // The next step finds out whether it lasts.
            Err(error) => alive(&error_chain(&error)),
        }
    }
}

async fn nudge_every_minute(nudge: &Arc<Notify>) -> anyhow::Result<JobScheduler> {
    let scheduler = JobScheduler::new().await?;
    let nudge = Arc::clone(nudge);
    let job = CronJob::new("0 * * * * *", move |_, _| nudge.notify_one())?;
    scheduler.add(job).await?;
    scheduler.start().await?;
    Ok(scheduler)
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;
    use std::sync::atomic::{AtomicBool, Ordering};

    use rusqlite::Connection;

    use super::*;
    use crate::runner::test_farm::TestFarm;
    use crate::store::StoreError;

    fn shown() -> Shown {
        watch::channel(None).0
    }

    #[tokio::test]
    async fn when_the_records_cannot_be_read_any_more_the_work_under_way_ends_and_then_the_daemon()
    {
        let farm = TestFarm::new("2022-06-20T09:00:00Z");
        let workshop = farm.workshop();
        let lost: Result<usize, StoreError> = workshop
            .store
            .write(|t| Ok(t.execute("DROP TABLE fetch_log", [])?))
            .await;
        lost.unwrap();
        let mut tasks = Tasks::new(workshop);
        let ended = Arc::new(AtomicBool::new(false));
        let at_its_end = Arc::clone(&ended);
        tasks.is_delivering(async move {
            for _ in 0..1000 {
                tokio::task::yield_now().await;
            }
            at_its_end.store(true, Ordering::Relaxed);
            Ok(())
        });
        let stop = CancellationToken::new();
        let outcome = go_on(&mut tasks, &Arc::default(), &stop, &shown(), |_| {}).await;
        let error = format!("{:#}", outcome.unwrap_err());
        assert!(error.starts_with("read what is due: "), "{error}");
        assert!(error.contains("no such table: fetch_log"), "{error}");
        assert!(ended.load(Ordering::Relaxed), "its work was cut off");
    }

    #[tokio::test]
    async fn a_stop_ends_the_loop_without_an_error() {
        let farm = TestFarm::new("2022-06-20T09:00:00Z");
        let stop = CancellationToken::new();
        stop.cancel();
        run(farm.tools(), Arc::default(), stop).await.unwrap();
    }

    #[tokio::test]
    async fn while_the_thread_of_the_records_hangs_no_sign_of_life_is_given() {
        let farm = TestFarm::new("2022-06-20T09:00:00Z");
        let workshop = farm.workshop();
        let (stop, nudge) = (CancellationToken::new(), Arc::new(Notify::new()));
        // It hangs before the first step asks anything of it.
        let (hang, hanging) = std::sync::mpsc::channel::<()>();
        let seen = Arc::new(Mutex::new(Vec::new()));
        let note = |what| seen.lock().unwrap().push(what);
        let (store, at_last) = (workshop.store.clone(), Arc::clone(&seen));
        let held = async {
            let hangs = move |_: &Connection| {
                let _ = hanging.recv();
                at_last.lock().unwrap().push("goes on");
                Ok::<_, StoreError>(())
            };
            store.read(hangs).await.unwrap();
        };
        let release = async {
            for _ in 0..1000 {
                tokio::task::yield_now().await;
            }
            note("released");
            drop(hang);
        };
        let alive = |_: &str| {
            note("alive");
            stop.cancel();
        };
        let mut tasks = Tasks::new(workshop);
        let shown = shown();
        let daemon = go_on(&mut tasks, &nudge, &stop, &shown, alive);
        let ((), ended, ()) = tokio::join!(biased; held, daemon, release);
        ended.unwrap();
        assert_eq!(*seen.lock().unwrap(), ["released", "goes on", "alive"]);
    }
}
