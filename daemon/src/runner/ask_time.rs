//! What a workshop does about the machine's clock: asks others for the time, notes a doubt, tells whoever looks after
//! the box, and sets aside what a clock dated ahead.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use duskflight_core::ledger::MailKind;

use super::gate::{Evidence, Verdict, judge};
use super::jobs::Workshop;
use super::operator::{self, Matter};
use super::timekeeper::witnesses;
use crate::clock::SteadyClock;
use crate::error_chain::error_chain;
use crate::feed::{Heard, HttpUrl};
use crate::mail::delivery::{Delivered, deliver_only};
use crate::mail::transport::Transport;
use crate::store::journal::{self, JournalError};
use crate::store::{StoreError, clock_doubt, days, set_aside};

/// So many hosts are asked at the most.
const MOST_HOSTS: usize = 5;

impl Workshop {
    /// Whether any host of the configuration can be asked for the time.
    pub(super) fn can_ask_time(&self) -> bool {
        !self.hosts().is_empty() || self.transport().tells_time()
    }

    /// Asks the hosts of feeds and forecasts, and the mail server, for the time. Nothing is stored.
    pub async fn ask_time(&self) {
        for url in self.hosts().values().take(MOST_HOSTS) {
            self.client.ask_date(url).await;
        }
        self.transport().ask_time().await;
    }

    /// What is thought of the machine's clock, which says `now`, once others were asked and without any grace.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn witnessed(&self, now: DateTime<Utc>) -> Result<Verdict, StoreError> {
        self.ask_time().await;
        let stations = self.config.stations.iter().map(|s| s.id.clone());
        let stations: Vec<_> = stations.collect();
        let newest = self.store.read(move |c| days::newest(c, &stations)).await?;
        Ok(judge(&Evidence {
            now,
            earliest: self.clock.earliest(),
            even_for: TimeDelta::zero(),
            set_by_network: self.clock.set_by_network(),
            newest_fetch: newest.fetch,
            witnesses: witnesses(self.client.heard(), self.clock.uptime()),
        }))
    }

    fn transport(&self) -> Transport {
        Transport::of(&self.config, self.client.heard())
    }

    /// An address of each host that is heeded.
    fn hosts(&self) -> BTreeMap<String, HttpUrl> {
        let day = self.config.day_of(self.clock.now());
        let of_stations = self.config.stations.iter().flat_map(|station| {
            let forecast = station.forecast.as_ref().and_then(|source| source.url());
            station.source.url(day).into_iter().chain(forecast)
        });
        let with_host = of_stations.filter_map(|url| {
            let host = url.whole().host_str()?.to_owned();
            Heard::heeds(&host).then_some((host, url))
        });
        with_host.collect()
    }

    /// Notes why the clock is not believed, or that it is, in the log and where `status` finds it.
    pub(super) async fn note_doubt(&self, why: Option<String>, now: DateTime<Utc>) {
        match &why {
            Some(why) => tracing::warn!(
                %now, why, "the clock is not believed; nothing is stored or told by it until it is right"
            ),
            None => tracing::info!(%now, "the clock is believed"),
        }
        let noted = self
            .store
            .write(move |t| clock_doubt::note(t, why.as_deref(), now));
        let noted: Result<(), StoreError> = noted.await;
        if let Err(error) = noted {
            tracing::warn!(error = error_chain(&error), "the doubt cannot be noted");
        }
    }

    /// Tells whoever looks after the box once that the clock holds up the work, or that it does so no longer.
    pub(super) async fn tell_of_clock(&self, why: Option<&str>, now: DateTime<Utc>) {
        let (config, why) = (Arc::clone(&self.config), why.map(str::to_owned));
        let told = self
            .store
            .write(move |t| operator::note(t, &config, Matter::Clock, why.as_deref(), now));
        let told: Result<(), StoreError> = told.await;
        if let Err(error) = told {
            tracing::warn!(error = error_chain(&error), "nobody is told of the clock");
        }
    }

    /// Sends what is for whoever looks after the box, by an instant that is probably right.
    pub(super) async fn deliver_to_operators(
        &self,
        right: DateTime<Utc>,
    ) -> Result<Delivered, StoreError> {
        self.render().await?;
        let clock = SteadyClock::from(Arc::clone(&self.clock), right);
        let transport = self.transport();
        deliver_only(MailKind::Operator, &self.store, &transport, &clock).await
    }

    /// Sets aside what is dated later than an instant that is right, and gives it in words, each with how often.
    ///
    /// # Errors
    /// When the records or the journal cannot be read or written.
    pub(super) async fn set_aside(
        &self,
        now: DateTime<Utc>,
    ) -> Result<Vec<(&'static str, u32)>, JournalError> {
        let journal = journal::path_beside(&self.config.database);
        let today = self.config.day_of(now);
        let set_aside = self
            .store
            .write(move |t| set_aside::set_aside(t, &journal, today, now))
            .await?;
        let said = set_aside
            .iter()
            .map(|(what, count)| format!("{count} {what}"));
        let said: Vec<String> = said.collect();
        tracing::warn!(%now, set_aside = said.join(", "), "what a clock dated ahead is set aside");
        Ok(set_aside)
    }
}
