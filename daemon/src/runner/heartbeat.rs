//! A sign of life to an outside watcher, only at the end of a chain that worked: silence is an alarm.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::StationId;
use duskflight_core::weather::is_fresh;
use rusqlite::Connection;

use super::due::owed;
use super::jobs::Workshop;
use crate::error_chain::error_chain;
use crate::store::jobs::{self, Job, Run, RunState};
use crate::store::{StoreError, days, outbox_report};

impl Workshop {
    /// Asks for the watcher's address once a civil day, when every station is fresh, the day is told and its digests
    /// were accepted. What fails is tried again like any job.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn ping(&self) -> Result<(), StoreError> {
        let Some(url) = &self.config.heartbeat else {
            return Ok(());
        };
        let now = self.clock.now();
        let day = self.config.day_of(now);
        let stations = self.config.stations.iter();
        let stations: Vec<StationId> = stations.map(|station| station.id.clone()).collect();
        let read = move |c: &Connection| {
            let before = jobs::run(c, Job::Heartbeat, day)?;
            let owed = owed(before.as_ref(), now) && chain_worked(c, &stations, day)?;
            Ok::<_, StoreError>(owed.then_some(before))
        };
        let Some(before) = self.store.read(read).await? else {
            return Ok(());
        };
        let begin = move |t: &rusqlite::Transaction<'_>| jobs::begin(t, Job::Heartbeat, day, now);
        self.store.write(begin).await?;
        let error = self.client.get(url).await.err();
        let error = error.map(|error| error_chain(&error));
        say(error.as_deref(), before.as_ref(), day);
        self.store
            .write_at(&self.clock, move |t, now: DateTime<Utc>| {
                jobs::finish(t, Job::Heartbeat, day, now, error.as_deref())
            })
            .await
    }
}

fn say(error: Option<&str>, before: Option<&Run>, day: NaiveDate) {
    match error {
        None => tracing::info!(%day, "heartbeat sent"),
        Some(error) if before.is_some_and(|run| run.error.as_deref() == Some(error)) => {
            tracing::debug!(%day, error, "no heartbeat yet");
        }
        Some(error) => tracing::warn!(%day, error, "the heartbeat did not get through"),
    }
}

fn chain_worked(
    connection: &Connection,
    stations: &[StationId],
    day: NaiveDate,
) -> Result<bool, StoreError> {
    let told = jobs::run(connection, Job::Tell, day)?;
    if told.is_none_or(|run| run.state != RunState::Done) {
        return Ok(false);
    }
    for station in stations {
        let newest = days::newest_complete(connection, station)?;
        if !newest.is_some_and(|newest| is_fresh(newest, day)) {
            return Ok(false);
        }
    }
    outbox_report::digests_accepted(connection, day)
}
