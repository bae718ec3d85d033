//! The newest forecast of each station. A forecast replaces the one before it: it is used for the
//! mornings it was made for and never becomes a record.

use chrono::{DateTime, Days, NaiveDate, Utc};
use duskflight_core::id::StationId;
use duskflight_core::weather::ReceivedDay;
use rusqlite::{Connection, params};

use super::StoreError;
use super::days::read;

/// Puts a station's newest forecast in place of the one before.
///
/// # Errors
/// A failing statement.
pub fn replace(
    connection: &Connection,
    station: &StationId,
    days: &[ReceivedDay],
    made_on: NaiveDate,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection.execute(
        "DELETE FROM forecast_day WHERE station = ?1",
        [station.as_str()],
    )?;
    let mut insert = connection.prepare_cached(
        "INSERT OR REPLACE INTO forecast_day VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?;
    for day in days {
        insert.execute(params![
            station.as_str(),
            day.date.to_string(),
            day.min,
            day.max,
            day.unit.code(),
            made_on.to_string(),
            now.timestamp(),
        ])?;
    }
    Ok(())
}

/// A station's forecast for a morning: the newest one, made that day or the day before; otherwise
/// none.
///
/// # Errors
/// A failing statement.
pub fn for_morning(
    connection: &Connection,
    station: &StationId,
    as_of: NaiveDate,
) -> Result<Vec<ReceivedDay>, StoreError> {
    let yesterday = as_of.checked_sub_days(Days::new(1)).unwrap_or(as_of);
    let mut statement = connection.prepare_cached(
        "SELECT day, tmin, tmax, unit, NULL, NULL FROM forecast_day
         WHERE station = ?1 AND made_on BETWEEN ?2 AND ?3 ORDER BY day",
    )?;
    let key = params![station.as_str(), yesterday.to_string(), as_of.to_string()];
    let rows = statement.query_map(key, |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}
