//! Past days of one station, asked for by hand, a year at a time.

use std::sync::Arc;

use chrono::{Datelike, NaiveDate};
use duskflight_core::weather::ReceivedDay;

use super::keeping::{Asked, keep};
use super::pace::{Feed, Pace};
use crate::clock::Clock;
use crate::config::{Config, Station};
use crate::error_chain::error_chain;
use crate::feed::{self, Client, FeedSource, FetchedDays, Past};
use crate::store::jobs::Job;
use crate::store::{Store, StoreError, days, feed_pace};

/// A stretch of days, both ends included.
pub type Stretch = (NaiveDate, NaiveDate);

/// What a backfill works with.
#[derive(Debug)]
pub struct Backfill<'a> {
    /// The records; a copy of them, where nothing is to be stored.
    pub store: &'a Store,
    /// The configuration.
    pub config: &'a Arc<Config>,
    /// The way to the feeds.
    pub client: &'a Client,
    /// The time at which what comes in lands.
    pub clock: &'a Arc<dyn Clock>,
    /// The station.
    pub station: &'a Station,
    /// The civil day: days before it may be known.
    pub day: NaiveDate,
}

/// What became of a stretch.
#[derive(Debug, PartialEq)]
pub enum Outcome {
    /// It was stored.
    Stored {
        /// Days received.
        received: usize,
        /// Of those, new or different.
        changes: Vec<Change>,
        /// Rows that could not be read, in words.
        remarks: Option<String>,
    },
    /// It is odd as a whole and kept aside; what is odd, in words.
    Aside(String),
    /// Nothing came; why, in words. To ask for more is in vain now.
    Failed(String),
}

/// A day that is new or different.
#[derive(Debug, PartialEq)]
pub struct Change {
    /// As it was stored.
    pub before: Option<ReceivedDay>,
    /// As it is now.
    pub now: ReceivedDay,
}

/// The stretches to ask for, oldest first: a calendar year at the most, since services time out over longer ones. A record
/// that comes whole with every request is asked for once.
#[must_use]
pub fn stretches(source: &FeedSource, from: NaiveDate, to: NaiveDate) -> Vec<Stretch> {
    if source.declares().past == Past::Whole {
        return vec![(from, to)];
    }
    let year = |year| {
        let first = NaiveDate::from_ymd_opt(year, 1, 1).map_or(from, |first| first.max(from));
        let last = NaiveDate::from_ymd_opt(year, 12, 31).map_or(to, |last| last.min(to));
        (first, last)
    };
    (from.year()..=to.year()).map(year).collect()
}

impl Backfill<'_> {
    /// Lets the station's feed be asked anew: whoever does so by hand may just have mended what made the requests
    /// before vain.
    ///
    /// # Errors
    /// When the records cannot be written.
    pub async fn begin(&self) -> Result<(), StoreError> {
        self.store.write(|t| feed_pace::begin_anew(t)).await
    }

    /// Whether a stretch came nearly whole before, or has been asked for often enough.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn is_settled(&self, (from, to): Stretch) -> Result<bool, StoreError> {
        let station = self.station.id.clone();
        let settled = self
            .store
            .read(move |c| days::is_settled(c, &station, from, to));
        settled.await
    }

    /// Asks for a stretch, and stores what came or keeps it aside, as a night does.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn fetch(&self, (from, to): Stretch) -> Result<Outcome, StoreError> {
        let feed = Feed::of(self.station);
        let pace = Pace {
            store: self.store,
            client: self.client,
            clock: self.clock,
            window: (Job::Fetch, self.day),
        };
        let client = match pace.may_ask(&feed).await? {
            Ok(client) => client,
            Err(why) => return Ok(Outcome::Failed(why)),
        };
        let answer = match feed::fetch(&client, &self.station.source, from, to).await {
            Ok(days) => Ok(days),
            Err(error) => {
                pace.in_vain(&feed, &client, Some(&error)).await?;
                Err(error_chain(&error))
            }
        };
        let came = answer.is_ok();
        let (log, changes) = self.keep((from, to), answer).await?;
        Ok(match log.outcome {
            Ok((received, _)) => Outcome::Stored {
                received,
                changes,
                remarks: log.remarks,
            },
            Err(what) if came => Outcome::Aside(what),
            Err(why) => Outcome::Failed(why),
        })
    }

    async fn keep(
        &self,
        (from, to): Stretch,
        answer: Result<FetchedDays, String>,
    ) -> Result<(days::Fetch, Vec<Change>), StoreError> {
        let (config, station, day) = (Arc::clone(self.config), self.station.clone(), self.day);
        let kept = self.store.write_at(self.clock, move |t, now| {
            let asked = Asked {
                station: &station,
                from,
                to,
                day,
            };
            let received = answer.as_ref().map(|days| days.days.as_slice());
            let dates = received.unwrap_or_default().iter().map(|day| day.date);
            let dates: Vec<NaiveDate> = dates.collect();
            let stored = |t, date| days::one(t, &station.id, date);
            let mut before = Vec::new();
            for date in &dates {
                before.push(stored(t, *date)?);
            }
            let kept = keep(t, &config, asked, answer, now)?;
            let mut changes = Vec::new();
            for (date, before) in dates.into_iter().zip(before) {
                let now = stored(t, date)?.filter(|now| before.as_ref() != Some(now));
                changes.extend(now.map(|now| Change { before, now }));
            }
            Ok::<_, StoreError>((kept.log, changes))
        });
        kept.await
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::AcisFeed;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn a_span_is_asked_for_by_calendar_years_and_a_table_at_once() {
        let feed: AcisFeed = toml::from_str("station = 'KMCE'").unwrap();
        let source = FeedSource::Acis(feed);
        let expected = [
            ("2019-11-30", "2019-12-31"),
            ("2020-01-01", "2020-12-31"),
            ("2021-01-01", "2021-02-03"),
        ]
        .map(|(from, to)| (day(from), day(to)));
        let span = (day("2019-11-30"), day("2021-02-03"));
        assert_eq!(stretches(&source, span.0, span.1), expected);
        let within = (day("2020-03-01"), day("2020-03-01"));
        assert_eq!(stretches(&source, within.0, within.1), [within]);
        let table =
            "source = 'x.csv'\ndate_column = 'd'\nmin_column = 'l'\nmax_column = 'h'\nunit = 'f'";
        let table = FeedSource::Table(toml::from_str(table).unwrap());
        assert_eq!(stretches(&table, span.0, span.1), [span]);
    }
}
