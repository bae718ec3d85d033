//! Work under way in a task of its own.

use std::time::Duration;

use tokio::task::JoinHandle;

use crate::store::jobs::Job;

/// Work under way. It hands back the error that it could not note itself.
#[derive(Debug)]
pub(super) struct Task {
    pub(super) name: &'static str,
    /// What the store keeps account of.
    pub(super) job: Option<Job>,
    pub(super) work: JoinHandle<anyhow::Result<()>>,
}

impl Task {
    pub(super) fn new(
        name: &'static str,
        work: impl Future<Output = anyhow::Result<()>> + Send + 'static,
    ) -> Self {
        Self {
            name,
            job: None,
            work: tokio::spawn(work),
        }
    }

    pub(super) fn of(
        job: Job,
        work: impl Future<Output = anyhow::Result<()>> + Send + 'static,
    ) -> Self {
        Self {
            job: Some(job),
            ..Self::new(job.name(), work)
        }
    }
}

/// Waits a bounded time for what has begun, then lets go of it: every job is safe to cut off.
pub(super) async fn finish(tasks: impl IntoIterator<Item = Task>, within: Duration) {
    let deadline = tokio::time::Instant::now() + within;
    for task in tasks {
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
