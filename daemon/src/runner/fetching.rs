//! Which days a station owes, and merging what its feed sends.

use std::sync::Arc;

use chrono::{Datelike, Days, NaiveDate};
use rusqlite::Connection;

use crate::clock::{Clock, day_before};
use crate::config::{Config, Station};
use crate::crash;
use crate::error_chain::error_chain;
use crate::feed::{self, Client, FeedSource, FetchedDays, ForecastSource};
use crate::store::jobs::Job;
use crate::store::{Store, StoreError, days, forecasts};

use super::keeping::{Asked, Kept, keep};
use super::pace::{Feed, Pace};

/// Days that are read again every night, since archives revise them.
const REREAD_DAYS: u64 = 60;

/// What fetching all stations did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Fetched {
    /// Days received.
    pub days: usize,
    /// Of those, new or different.
    pub changed: usize,
    /// Stations that failed, with the reason.
    pub failed: Vec<(String, String)>,
    /// Of those, how many failed before for the same reason: what lasts is said once.
    pub as_before: usize,
    /// Stations that sent rows which could not be read, with the first of them.
    pub remarks: Vec<(String, String)>,
}

impl Fetched {
    /// Whether nothing came of it but failures that were said before.
    #[must_use]
    pub const fn is_as_before(&self) -> bool {
        self.days == 0 && self.as_before > 0 && self.as_before == self.failed.len()
    }

    /// Notes why a station failed; `before`: why it did when it was asked last.
    fn fail(&mut self, station: &Station, error: String, before: Option<&String>) {
        if before == Some(&error) {
            self.as_before += 1;
            tracing::debug!(station.id = %station.id, error, "fetch failed as before");
        } else {
            tracing::warn!(station.id = %station.id, error, "fetch failed");
        }
        self.failed.push((station.id.to_string(), error));
    }
}

/// What a fetch works with.
#[derive(Debug)]
pub struct Fetching<'a> {
    /// The records.
    pub store: &'a Store,
    /// The configuration.
    pub config: &'a Arc<Config>,
    /// The way to the feeds.
    pub client: &'a Client,
    /// The time at which what comes in lands.
    pub clock: &'a Arc<dyn Clock>,
    /// The job, and the civil day up to which days are fetched, without it.
    pub window: (Job, NaiveDate),
}

impl Fetching<'_> {
    /// Fetches stations up to the day before. A failure of one never holds up another and leaves the stored
    /// days as they are.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn fetch_all(&self, stations: &[&Station]) -> Result<Fetched, StoreError> {
        let mut fetched = Fetched::default();
        for &station in stations {
            self.fetch_station(station, &mut fetched).await?;
            if let Some(source) = &station.forecast
                && let Err(error) = self.forecast(station, source).await?
            {
                let remark =
                    format!("no forecast, so past years alone continue the season: {error}");
                fetched.remarks.push((station.id.to_string(), remark));
            }
        }
        Ok(fetched)
    }

    /// Fetches what a station owes. A stretch without an answer ends it; one that is kept aside does not, since
    /// the next may be well.
    async fn fetch_station(
        &self,
        station: &Station,
        fetched: &mut Fetched,
    ) -> Result<(), StoreError> {
        let feed = Feed::of(station);
        let wanted = station.clone();
        let day = self.window.1;
        let plan = self.store.read(move |c| plan(c, &wanted, day)).await?;
        let failing = self.store.read(days::failing).await?;
        let before = failing.get(station.id.as_str());
        for (from, to) in plan {
            let client = match self.pace().may_ask(&feed).await? {
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
                Err(error) => {
                    fetched.fail(station, error, before);
                }
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
        &self,
        feed: &Feed,
        client: &Client,
        station: &Station,
        (from, to): (NaiveDate, NaiveDate),
    ) -> Result<Result<FetchedDays, String>, StoreError> {
        let is_newest = to == day_before(self.window.1);
        let (answer, error) = match feed::fetch(client, &station.source, from, to).await {
            Ok(days) if is_newest => (some_recent(days, reread_from(to)), None),
            Ok(days) => (Ok(days), None),
            Err(error) => (Err(error_chain(&error)), Some(error)),
        };
        if answer.is_err() {
            self.pace().in_vain(feed, client, error.as_ref()).await?;
        }
        Ok(answer)
    }

    /// Fetches a station's forecast; one that fails leaves the one before, which grows too old by itself.
    async fn forecast(
        &self,
        station: &Station,
        source: &ForecastSource,
    ) -> Result<Result<(), String>, StoreError> {
        let feed = Feed::of_forecast(station, source);
        let client = match self.pace().may_ask(&feed).await? {
            Ok(client) => client,
            Err(why) => return Ok(Err(why)),
        };
        let days = match feed::fetch_forecast(&client, source).await {
            Ok(days) => days,
            Err(error) => {
                self.pace().in_vain(&feed, &client, Some(&error)).await?;
                return Ok(Err(error_chain(&error)));
            }
        };
        let (id, day) = (station.id.clone(), self.window.1);
        self.store
            .write_at(self.clock, move |t, now| {
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
        answer: Result<FetchedDays, String>,
    ) -> Result<Kept, StoreError> {
        let (config, station) = (Arc::clone(self.config), station.clone());
        let day = self.window.1;
        self.store
            .write_at(self.clock, move |t, now| {
                let asked = Asked {
                    station: &station,
                    from,
                    to,
                    day,
                };
                keep(t, &config, asked, answer, now)
            })
            .await
    }

    const fn pace(&self) -> Pace<'_> {
        Pace {
            store: self.store,
            client: self.client,
            clock: self.clock,
            window: self.window,
        }
    }
}

/// Asks a station for its last days, and for its forecast where it has one; gives the newest day and
/// stores nothing.
///
/// # Errors
/// Why the feed or the forecast cannot be used, in words.
pub(crate) async fn try_station(
    client: &Client,
    station: &Station,
    day: NaiveDate,
) -> Result<NaiveDate, String> {
    let yesterday = day_before(day);
    let recent = reread_from(yesterday);
    let fetched = feed::fetch(client, &station.source, recent, yesterday)
        .await
        .map_err(|error| error_chain(&error))?;
    let fetched = some_recent(fetched, recent)?;
    if let Some(source) = &station.forecast {
        feed::fetch_forecast(client, source)
            .await
            .map_err(|error| format!("the forecast: {}", error_chain(&error)))?;
    }
    Ok(fetched.days.last().map_or(recent, |newest| newest.date))
}

/// The stretches to ask for: past years that never came whole, one by one; then this year from its
/// first gap, and the days that may have been revised, also across the new year.
fn plan(
    connection: &Connection,
    station: &Station,
    day: NaiveDate,
) -> Result<Vec<(NaiveDate, NaiveDate)>, StoreError> {
    let yesterday = day_before(day);
    let year = yesterday.year();
    let first_year = year - i32::from(station.history_years);
    if matches!(station.source, FeedSource::Table(_)) {
        // A table comes whole with every request, so it is asked for once.
        return Ok(vec![(new_year(first_year), yesterday)]);
    }
    let mut stretches = Vec::new();
    for past in first_year..year {
        let whole = (new_year(past), day_before(new_year(past + 1)));
        if !days::is_settled(connection, &station.id, whole.0, whole.1)? {
            stretches.push(whole);
        }
    }
    let reread = reread_from(yesterday);
    let gap = days::first_gap(connection, &station.id, new_year(year), yesterday)?;
    stretches.push((gap.map_or(reread, |gap| gap.min(reread)), yesterday));
    Ok(stretches)
}

/// A past year may be older than the station, but up to yesterday a feed has recent days: an answer
/// without any is a failure, however well formed.
fn some_recent(fetched: FetchedDays, recent_from: NaiveDate) -> Result<FetchedDays, String> {
    match fetched.days.last() {
        Some(newest) if newest.date >= recent_from => Ok(fetched),
        Some(newest) => Err(format!("the feed's newest day is {}", newest.date)),
        None => Err("the feed has no day of the last two months".to_owned()),
    }
}

fn reread_from(yesterday: NaiveDate) -> NaiveDate {
    yesterday
        .checked_sub_days(Days::new(REREAD_DAYS))
        .unwrap_or(yesterday)
}

fn new_year(year: i32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, 1, 1).unwrap_or(NaiveDate::MIN)
}
