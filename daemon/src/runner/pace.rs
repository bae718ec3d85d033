//! How often a feed may be asked: a few times in vain a window, and not while its host wants to be left alone.
//!
//! Kept in the store, so that neither the next job nor a restart begins anew. Whoever asks by hand does.

use std::sync::Arc;

use chrono::{NaiveDate, TimeDelta};

use crate::clock::Clock;
use crate::config::Station;
use crate::feed::{Client, FeedError, ForecastSource};
use crate::store::jobs::Job;
use crate::store::{Store, StoreError, feed_pace};

/// Requests in vain to one feed in the night's window and in the late one: twelve a day.
const MOST_IN_VAIN: [u32; 2] = [9, 3];

/// One feed of a station.
pub(super) struct Feed {
    /// What its account is kept under.
    name: String,
    /// The host that is asked; none for a file.
    host: Option<String>,
}

impl Feed {
    /// The feed of a station's days.
    pub(super) fn of(station: &Station) -> Self {
        Self {
            name: station.id.to_string(),
            host: station.source.host(),
        }
    }

    /// The feed of a station's forecast.
    pub(super) fn of_forecast(station: &Station, source: &ForecastSource) -> Self {
        Self {
            name: format!("{} forecast", station.id),
            host: source.host(),
        }
    }
}

/// The account of one window of fetching.
#[derive(Debug)]
pub(super) struct Pace<'a> {
    pub(super) store: &'a Store,
    pub(super) client: &'a Client,
    pub(super) clock: &'a Arc<dyn Clock>,
    /// The job and its civil day.
    pub(super) window: (Job, NaiveDate),
}

impl Pace<'_> {
    /// A way to ask a feed once more, with as many tries as it has left; or, in words, why it is not asked. The
    /// first time it may be a blip, so half of the tries follow each other; later ones are the job's own.
    pub(super) async fn may_ask(&self, feed: &Feed) -> Result<Result<Client, String>, StoreError> {
        let host = feed.host.clone();
        let (name, window, now) = (feed.name.clone(), self.window, self.clock.now());
        let read = self.store.read(move |c| {
            let in_vain = feed_pace::in_vain(c, &name, window)?;
            let waits_until = host.map(|host| feed_pace::waits_until(c, &host, now));
            Ok::<_, StoreError>((in_vain, waits_until.transpose()?.flatten()))
        });
        let (in_vain, waits_until) = read.await?;
        let most = self.most_in_vain();
        Ok(match waits_until {
            Some(until) => {
                let until = until.format("%Y-%m-%d %H:%M UTC");
                Err(format!("the service asked to be left alone until {until}"))
            }
            None if in_vain >= most => {
                Err("it is not asked again before the next time of fetching".to_owned())
            }
            None if in_vain == 0 => Ok(self.client.with_tries(most.div_ceil(2))),
            None => Ok(self.client.with_tries(1)),
        })
    }

    /// Notes that what a client just asked was in vain, and what the host said of it.
    pub(super) async fn in_vain(
        &self,
        feed: &Feed,
        client: &Client,
        error: Option<&FeedError>,
    ) -> Result<(), StoreError> {
        let wait = error.and_then(FeedError::asked_wait);
        let wait = wait.map(|wait| TimeDelta::from_std(wait).unwrap_or(TimeDelta::MAX));
        let wait = feed.host.clone().zip(wait);
        let (name, window, requests) = (feed.name.clone(), self.window, client.requests());
        let note = self.store.write_at(self.clock, move |t, now| {
            if let Some((host, wait)) = wait {
                feed_pace::wait(t, &host, now, wait)?;
            }
            let before = feed_pace::in_vain(t, &name, window)?;
            feed_pace::set_in_vain(t, &name, window, before.saturating_add(requests))
        });
        note.await
    }

    /// Notes that a feed has said what it has to say: it is not asked again in this window.
    pub(super) async fn enough(&self, feed: &Feed) -> Result<(), StoreError> {
        let (name, window, most) = (feed.name.clone(), self.window, self.most_in_vain());
        let note = self.store.write_at(self.clock, move |t, _| {
            feed_pace::set_in_vain(t, &name, window, most)
        });
        note.await
    }

    const fn most_in_vain(&self) -> u32 {
        let [night, late] = MOST_IN_VAIN;
        match self.window.0 {
            Job::FetchLate => late,
            Job::Fetch | Job::Tell | Job::Heartbeat => night,
        }
    }
}

#[cfg(test)]
mod tests;
