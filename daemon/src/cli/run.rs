//! `duskflight run`: the daemon.

use std::sync::Arc;

use anyhow::Context;
use clap::Args;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use super::Failure;
use super::common::{ConfigDir, tools};
use crate::clock;
use crate::runner::{self, Lock};
use crate::store::place;

/// Run unattended: fetch before the digest, tell every morning, deliver
///
/// Stops on SIGTERM or SIGINT once the work under way has ended, on a second one at once. A changed
/// configuration is taken over within a minute, on SIGHUP at once.
#[derive(Debug, Args)]
pub(super) struct Run {
    #[command(flatten)]
    config: ConfigDir,
}

impl Run {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let stop = CancellationToken::new();
        let nudge = Arc::new(Notify::new());
        stop_on_signal(&stop)?;
        nudge_on_hangup(&nudge)?;
        tracing::info!(
            version = env!("CARGO_PKG_VERSION"),
            farm = config.farm,
            zone = %config.zone,
            database = %config.database.display(),
            stations = config.stations.len(),
            "duskflight starts"
        );
        for threat in place::threats(&config.database) {
            tracing::warn!("{threat}");
        }
        let _lock = Lock::take(&config.database)?;
        runner::run(tools(&config, clock::system())?, nudge, stop).await?;
        tracing::info!("duskflight has stopped");
        Ok(())
    }
}

/// The first signal asks for a graceful stop, a second one ends the process.
fn stop_on_signal(stop: &CancellationToken) -> anyhow::Result<()> {
    let mut terminate = signal(SignalKind::terminate()).context("listen for SIGTERM")?;
    let mut interrupt = signal(SignalKind::interrupt()).context("listen for SIGINT")?;
    let stop = stop.clone();
    tokio::spawn(async move {
        loop {
            tokio::select! {
                _ = terminate.recv() => {}
                _ = interrupt.recv() => {}
            }
            if stop.is_cancelled() {
                tracing::warn!("second signal: ending at once");
                std::process::exit(1);
            }
            stop.cancel();
        }
    });
    Ok(())
}

/// A hang-up asks to look at once at what is due and at the configuration.
fn nudge_on_hangup(nudge: &Arc<Notify>) -> anyhow::Result<()> {
    let mut hangup = signal(SignalKind::hangup()).context("listen for SIGHUP")?;
    let nudge = Arc::clone(nudge);
    tokio::spawn(async move {
        while hangup.recv().await.is_some() {
            runner::reloading();
            nudge.notify_one();
        }
    });
    Ok(())
}
