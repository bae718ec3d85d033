//! Asking a station once, to see whether it can be used.

use std::sync::Arc;

use chrono::NaiveDate;
use duskflight_core::temperature::Unit;

use super::plan::{reread_from, some_recent};
use crate::clock::day_before;
use crate::config::{Config, Station};
use crate::error_chain::error_chain;
use crate::feed::{self, Client};
use crate::runner::keeping::judge_only;

/// Asks a station for its last days, and for its forecast where it has one; gives the newest day and
/// stores nothing. The days are judged as a night would.
///
/// # Errors
/// Why the feed or the forecast cannot be used, in words.
pub(crate) async fn try_station(
    client: &Client,
    config: &Arc<Config>,
    station: &Station,
    day: NaiveDate,
) -> Result<NaiveDate, String> {
    let yesterday = day_before(day);
    let recent = reread_from(yesterday);
    let fetched = feed::fetch(client, &station.source, recent, yesterday)
        .await
        .map_err(|error| error_chain(&error))?;
    let fetched = some_recent(fetched, recent)?;
    let newest = fetched.days.last().map_or(recent, |newest| newest.date);
    let judged = judge_only(config, station, day, fetched).await;
    judged
        .map_err(|error| error_chain(&error))?
        .map_err(|oddity| {
            let odd = oddity.words(config.unit.unwrap_or(Unit::Fahrenheit));
            format!("it {odd}; see whether its unit and its place are declared right")
        })?;
    if let Some(source) = &station.forecast {
        feed::fetch_forecast(client, source)
            .await
            .map_err(|error| format!("the forecast: {}", error_chain(&error)))?;
    }
    Ok(newest)
}
