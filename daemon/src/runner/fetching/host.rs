//! Asking one host in turn for all that stations want of it.

use chrono::NaiveDate;
use duskflight_core::weather::is_fresh;

use super::fetched::Fetched;
use super::means::{Fetching, Question};
use super::plan::{plan, reread_from, some_recent};
use crate::clock::day_before;
use crate::config::Station;
use crate::crash;
use crate::error_chain::error_chain;
use crate::feed::{
    self, Client, FeedError, FeedSource, FetchedDays, ForecastSource, Newer, Past, Version,
};
use crate::hash::hash;
use crate::runner::keeping::{Asked, Kept, keep};
use crate::runner::pace::{Feed, Pace};
use crate::store::jobs::Job;
use crate::store::{StoreError, days, feed_version, forecasts};

/// A host that left so many stations in a row without any answer is not asked for more in this round.
const MOST_SILENT: usize = 2;

/// One host, asked by one after another.
pub(super) struct Host<'a> {
    fetching: &'a Fetching,
    /// Stations in a row to which it gave no answer at all.
    silent: usize,
}

impl<'a> Host<'a> {
    pub(super) const fn new(fetching: &'a Fetching) -> Self {
        Self {
            fetching,
            silent: 0,
        }
    }

    /// Asks one thing, and stores what comes.
    pub(super) async fn ask(&mut self, question: &Question) -> Result<Fetched, StoreError> {
        let mut fetched = Fetched::default();
        match question {
            Question::Days(station) => self.days(station, &mut fetched).await?,
            Question::Forecast(station, source) => {
                if let Err(error) = self.forecast(station, source).await? {
                    let remark =
                        format!("no forecast, so past years alone continue the season: {error}");
                    fetched.remarks.push((station.id.to_string(), remark));
                }
            }
        }
        Ok(fetched)
    }

    /// A way to ask a feed once more; or, in words, why it is not asked.
    async fn may_ask(&self, feed: &Feed) -> Result<Result<Client, String>, StoreError> {
        if self.fetching.is_time_up() {
            return Ok(Err(
                "the digest is due, so it is asked afterwards".to_owned()
            ));
        }
        if self.silent >= MOST_SILENT {
            let silent = self.silent;
            return Ok(Err(format!(
                "its host gave no answer to {silent} others just now"
            )));
        }
        let client = self.pace().may_ask(feed).await?;
        Ok(client.map(|client| match self.silent {
            0 => client,
            _ => client.with_tries(1),
        }))
    }

    /// Notes what a host just did with a request.
    fn heard(&mut self, error: Option<&FeedError>) {
        match error {
            Some(error) if error.is_silence() => self.silent += 1,
            _ => self.silent = 0,
        }
    }

    /// Fetches what a station owes. A stretch without an answer ends it; one that is kept aside does not, since
    /// the next may be well.
    async fn days(&mut self, station: &Station, fetched: &mut Fetched) -> Result<(), StoreError> {
        let feed = Feed::of(station);
        let (wanted, day) = (station.clone(), self.fetching.window.1);
        let store = &self.fetching.store;
        let plan = store.read(move |c| plan(c, &wanted, day)).await?;
        let failing = store.read(days::failing).await?;
        let before = failing.get(station.id.as_str());
        for (from, to) in plan {
            let client = match self.may_ask(&feed).await? {
                Ok(client) => client,
                Err(why) => {
                    fetched.fail(station, why, before);
                    break;
                }
            };
            let answer = self.answer(&feed, &client, station, (from, to)).await?;
            crash::point("an answer has come");
            let came = answer.is_ok();
            let kept = self.keep(station, (from, to), answer).await?;
            match kept.log.outcome {
                Ok((days, changed)) => {
                    fetched.days += days;
                    fetched.changed += changed;
                    let remarks = kept.log.remarks;
                    fetched
                        .remarks
                        .extend(remarks.map(|remarks| (station.id.to_string(), remarks)));
                }
                Err(error) => fetched.fail(station, error, before),
            }
            if kept.aside && to == day_before(day) {
                self.pace().enough(&feed).await?;
            }
            if !came {
                break;
            }
        }
        Ok(())
    }

    /// Asks for a stretch; gives what came, or why nothing did.
    async fn answer(
        &mut self,
        feed: &Feed,
        client: &Client,
        station: &Station,
        (from, to): (NaiveDate, NaiveDate),
    ) -> Result<Result<Newer, String>, StoreError> {
        let is_newest = to == day_before(self.fetching.window.1);
        let known = self.known(station, from).await?;
        let answer = feed::fetch_newer(client, &station.source, (from, to), known.as_ref()).await;
        self.heard(answer.as_ref().err());
        let (answer, error) = match answer {
            Ok(None) => (Ok((FetchedDays::default(), known)), None),
            Ok(Some((days, version))) if is_newest => {
                let days = some_recent(days, reread_from(to));
                (days.map(|days| (days, version)), None)
            }
            Ok(Some(newer)) => (Ok(newer), None),
            Err(error) => (Err(error_chain(&error)), Some(error)),
        };
        if answer.is_err() {
            self.pace().in_vain(feed, client, error.as_ref()).await?;
        }
        Ok(answer)
    }

    /// The version of a whole record that is known, where only a newer one is asked for: late in the morning, and while
    /// its days are fresh.
    async fn known(
        &self,
        station: &Station,
        from: NaiveDate,
    ) -> Result<Option<Version>, StoreError> {
        let (job, day) = self.fetching.window;
        let may_be_known = station.source.declares().past == Past::Whole;
        if job != Job::FetchLate || !may_be_known {
            return Ok(None);
        }
        let (id, question) = (station.id.clone(), question(&station.source, from));
        let known = self.fetching.store.read(move |c| {
            let newest = days::newest_complete(c, &id)?;
            match newest.is_some_and(|newest| is_fresh(newest, day)) {
                true => feed_version::of(c, &id, &question),
                false => Ok(None),
            }
        });
        known.await
    }

    /// Fetches a station's forecast; one that fails leaves the one before, which grows too old by itself.
    async fn forecast(
        &mut self,
        station: &Station,
        source: &ForecastSource,
    ) -> Result<Result<(), String>, StoreError> {
        let feed = Feed::of_forecast(station, source);
        let client = match self.may_ask(&feed).await? {
            Ok(client) => client,
            Err(why) => return Ok(Err(why)),
        };
        let answer = feed::fetch_forecast(&client, source).await;
        self.heard(answer.as_ref().err());
        let days = match answer {
            Ok(days) => days,
            Err(error) => {
                self.pace().in_vain(&feed, &client, Some(&error)).await?;
                return Ok(Err(error_chain(&error)));
            }
        };
        let Fetching {
            store,
            clock,
            window: (_, day),
            ..
        } = self.fetching;
        let (id, day) = (station.id.clone(), *day);
        store
            .write_at(clock, move |t, now| {
                forecasts::replace(t, &id, &days, day, now)
            })
            .await?;
        Ok(Ok(()))
    }

    /// Stores what came, or keeps it aside, and logs it, all under the instant at which it lands.
    async fn keep(
        &self,
        station: &Station,
        (from, to): (NaiveDate, NaiveDate),
        answer: Result<Newer, String>,
    ) -> Result<Kept, StoreError> {
        let (config, station) = (self.fetching.config.clone(), station.clone());
        let day = self.fetching.window.1;
        let question = question(&station.source, from);
        let (answer, version) = match answer {
            Ok((days, version)) => (Ok(days), version),
            Err(error) => (Err(error), None),
        };
        self.fetching
            .store
            .write_at(&self.fetching.clock, move |t, now| {
                let asked = Asked {
                    station: &station,
                    from,
                    to,
                    day,
                };
                let kept = keep(t, &config, asked, answer, now)?;
                let version = version.filter(|_| kept.log.outcome.is_ok());
                feed_version::set(t, &station.id, &question, version.as_ref())?;
                Ok(kept)
            })
            .await
    }

    fn pace(&self) -> Pace<'_> {
        Pace {
            store: &self.fetching.store,
            client: &self.fetching.client,
            clock: &self.fetching.clock,
            window: self.fetching.window,
        }
    }
}

/// A short name for what is asked of a feed, and how the answer is read.
fn question(source: &FeedSource, from: NaiveDate) -> String {
    let address = source.url(from).map(|url| url.whole().to_string());
    let read = format!("{source:?} {from}");
    hash(&[address.unwrap_or_default().as_bytes(), read.as_bytes()])
}
