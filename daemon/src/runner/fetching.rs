//! Which days a station owes, and merging what its feed sends.

use std::sync::Arc;

use chrono::{Datelike, Days, NaiveDate};
use rusqlite::Connection;

use crate::clock::{Clock, day_before};
use crate::config::Station;
use crate::error_chain::error_chain;
use crate::feed::{self, Client, FeedSource, FetchedDays, ForecastSource};
use crate::store::days::{self, Fetch};
use crate::store::{Store, StoreError, forecasts};

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
}

/// Fetches stations up to the day before `day`. A failure of one never holds up another and
/// leaves the stored days as they are.
///
/// # Errors
/// When the records cannot be read or written.
pub async fn fetch_all(
    store: &Store,
    stations: &[&Station],
    client: &Client,
    day: NaiveDate,
    clock: &Arc<dyn Clock>,
) -> Result<Fetched, StoreError> {
    let mut fetched = Fetched::default();
    let failing = store.read(days::failing).await?;
    for &station in stations {
        let wanted = station.clone();
        let plan = store.read(move |c| plan(c, &wanted, day)).await?;
        for (from, to) in plan {
            let answer = feed::fetch(client, &station.source, from, to).await;
            let answer = answer
                .map_err(|error| error_chain(&error))
                .and_then(|fetched| match to == day_before(day) {
                    true => some_recent(fetched, reread_from(to)),
                    false => Ok(fetched),
                });
            let log = keep(store, station, (from, to), answer, clock).await?;
            match log.outcome {
                Ok((days, changed)) => {
                    fetched.days += days;
                    fetched.changed += changed;
                    let remarks = log.remarks.map(|remarks| (station.id.to_string(), remarks));
                    fetched.remarks.extend(remarks);
                }
                Err(error) => {
                    if failing.get(station.id.as_str()) == Some(&error) {
                        fetched.as_before += 1;
                        tracing::debug!(station.id = %station.id, error, "fetch failed as before");
                    } else {
                        tracing::warn!(station.id = %station.id, error, "fetch failed");
                    }
                    fetched.failed.push((station.id.to_string(), error));
                    break;
                }
            }
        }
        if let Some(source) = &station.forecast
            && let Err(error) = forecast(store, client, station, source, day, clock).await?
        {
            let remark = format!("no forecast, so past years alone continue the season: {error}");
            fetched.remarks.push((station.id.to_string(), remark));
        }
    }
    Ok(fetched)
}

/// Fetches a station's forecast; one that fails leaves the one before, which grows too old by itself.
async fn forecast(
    store: &Store,
    client: &Client,
    station: &Station,
    source: &ForecastSource,
    day: NaiveDate,
    clock: &Arc<dyn Clock>,
) -> Result<Result<(), String>, StoreError> {
    let days = match feed::fetch_forecast(client, source).await {
        Ok(days) => days,
        Err(error) => return Ok(Err(error_chain(&error))),
    };
    let id = station.id.clone();
    store
        .write_at(clock, move |t, now| {
            forecasts::replace(t, &id, &days, day, now)
        })
        .await?;
    Ok(Ok(()))
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

/// Stores what a feed answered and logs it, both under the instant at which they land.
async fn keep(
    store: &Store,
    station: &Station,
    (from, to): (NaiveDate, NaiveDate),
    answer: Result<FetchedDays, String>,
    clock: &Arc<dyn Clock>,
) -> Result<Fetch, StoreError> {
    let (id, feed) = (station.id.clone(), station.source.name());
    store
        .write_at(clock, move |transaction, now| {
            let mut log = Fetch {
                station: id.clone(),
                from,
                to,
                at: now,
                outcome: Ok((0, 0)),
                remarks: None,
            };
            match answer {
                Ok(fetched) => {
                    let changed = days::merge(transaction, &id, feed, &fetched.days, now)?;
                    log.outcome = Ok((fetched.days.len(), changed));
                    log.remarks = remarks(&fetched);
                }
                Err(error) => log.outcome = Err(error),
            }
            days::log(transaction, &log)?;
            Ok(log)
        })
        .await
}

/// The first few rows that could not be read, in words.
fn remarks(fetched: &FetchedDays) -> Option<String> {
    let lines: Vec<String> = fetched
        .problems
        .iter()
        .take(5)
        .map(ToString::to_string)
        .collect();
    let all = fetched.problems.len();
    (!lines.is_empty()).then(|| format!("{all} rows could not be read: {}", lines.join("; ")))
}
