//! The jobs: each is also a command, through the same function.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::StationId;
use rusqlite::Connection;

use super::fetching::{self, Fetched, error_chain};
use crate::config::{Config, Station};
use crate::feed::Client;
use crate::mail::delivery::{Delivered, Transport, deliver};
use crate::store::jobs::{self, Job, RunState};
use crate::store::{Store, StoreError, days};
use crate::telling::{TellError, Told, tell};

/// What every job works with.
#[derive(Debug, Clone)]
pub struct Workshop {
    /// The records.
    pub store: Store,
    /// The configuration.
    pub config: Arc<Config>,
    /// The way to the feeds.
    pub client: Arc<Client>,
}

impl Workshop {
    /// Fetches all stations for a civil day; when an earlier try of that day failed, only those that
    /// failed. The job has failed while any station has.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn fetch(
        &self,
        job: Job,
        day: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<Fetched, StoreError> {
        let stations = self
            .store
            .write(move |t| begin_fetch(t, job, day, now))
            .await?;
        let wanted = |station: &&Station| {
            stations
                .as_ref()
                .is_none_or(|ids| ids.contains(&station.id))
        };
        let stations: Vec<&Station> = self.config.stations.iter().filter(wanted).collect();
        let fetched = fetching::fetch_all(&self.store, &stations, &self.client, day, now).await?;
        let error = fetched.failed.first().map(|(_, error)| error.clone());
        self.store
            .write(move |t| jobs::finish(t, job, day, now, error.as_deref()))
            .await?;
        tracing::info!(
            day = %day,
            days = fetched.days,
            changed = fetched.changed,
            failed = fetched.failed.len(),
            "stations fetched"
        );
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
        let told = tell(&self.store, &self.config, day, again, now).await;
        match &told {
            Ok(told) => tracing::info!(day = %day, ?told, "day told"),
            Err(TellError::Past { .. }) => {}
            Err(error) => {
                self.note_failure(Job::Tell, day, &error_chain(error), now)
                    .await?;
            }
        }
        told
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
        let error = error.to_owned();
        self.store
            .write(move |t| {
                jobs::begin(t, job, day, now)?;
                jobs::finish(t, job, day, now, Some(&error))
            })
            .await
    }

    /// Sends what may be sent.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn deliver(&self, now: DateTime<Utc>) -> Result<Delivered, StoreError> {
        let transport = Transport::Folder(self.config.mail_folder.clone());
        deliver(&self.store, &transport, now).await
    }
}

/// Begins a fetch; gives the stations to try again when an earlier try of the same day failed.
fn begin_fetch(
    connection: &Connection,
    job: Job,
    day: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Option<Vec<StationId>>, StoreError> {
    let before = jobs::run(connection, job, day)?;
    jobs::begin(connection, job, day, now)?;
    if before.is_none_or(|run| run.state != RunState::Failed) {
        return Ok(None);
    }
    let failing = days::failing(connection)?;
    Ok(Some(
        failing
            .keys()
            .filter_map(|id| StationId::new(id).ok())
            .collect(),
    ))
}
