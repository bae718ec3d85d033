//! What a fetch works with, and what it asks for.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};

use crate::clock::Clock;
use crate::config::{Config, Station};
use crate::feed::{Client, ForecastSource};
use crate::store::Store;
use crate::store::jobs::Job;

/// What a fetch works with; a copy shares it.
#[derive(Debug, Clone)]
pub struct Fetching {
    /// The records.
    pub store: Store,
    /// The configuration.
    pub config: Arc<Config>,
    /// The way to the feeds.
    pub client: Arc<Client>,
    /// The time at which what comes in lands.
    pub clock: Arc<dyn Clock>,
    /// The job, and the civil day up to which days are fetched, without it.
    pub window: (Job, NaiveDate),
    /// From then on nothing more is asked, so that the digest leaves in time with what is there.
    pub until: Option<DateTime<Utc>>,
}

/// What is asked of a host.
#[derive(Debug)]
pub(super) enum Question {
    /// The days that a station owes.
    Days(Station),
    /// A station's forecast.
    Forecast(Station, ForecastSource),
}

impl Fetching {
    /// Whether nothing more is to be asked.
    pub(super) fn is_time_up(&self) -> bool {
        self.until.is_some_and(|until| self.clock.now() >= until)
    }
}
