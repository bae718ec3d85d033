//! Station days as received, their history, and the log of fetches.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use chrono::{DateTime, Days, NaiveDate, Utc};
use duskflight_core::id::StationId;
use duskflight_core::temperature::{Temperature, Unit};
use duskflight_core::weather::{FRESH_DAYS, ReceivedDay};
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::{StoreError, day, instant};

/// Merges received days into a station's record and returns how many were new or different. A value
/// that is missing in the new answer never wipes one that was there; what changes is kept in the
/// history.
///
/// # Errors
/// A failing statement.
pub fn merge(
    connection: &Connection,
    station: &StationId,
    feed: &str,
    days: &[ReceivedDay],
    at: DateTime<Utc>,
) -> Result<usize, StoreError> {
    let mut changed = 0;
    for received in days {
        let stored = one(connection, station, received.date)?;
        let merged = match &stored {
            Some(stored) => better(stored, received),
            None => received.clone(),
        };
        if stored.as_ref() == Some(&merged) {
            continue;
        }
        changed += 1;
        if stored.is_some() {
            connection.prepare_cached(
                "INSERT INTO station_day_history SELECT *, ?3 FROM station_day WHERE station = ?1 AND day = ?2",
            )?
            .execute(params![station.as_str(), received.date.to_string(), at.timestamp()])?;
        }
        connection
            .prepare_cached(
                "INSERT OR REPLACE INTO station_day VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            )?
            .execute(params![
                station.as_str(),
                merged.date.to_string(),
                merged.min,
                merged.max,
                merged.unit.code(),
                merged.min_flag,
                merged.max_flag,
                feed,
                at.timestamp(),
            ])?;
    }
    Ok(changed)
}

/// The new answer, completed by what was there before, in the unit of the new one; a new one without any value
/// changes nothing.
fn better(stored: &ReceivedDay, received: &ReceivedDay) -> ReceivedDay {
    if received.min.is_none() && received.max.is_none() {
        return stored.clone();
    }
    let kept = |value| as_sent_in(value, stored.unit, received.unit);
    let mut merged = received.clone();
    if merged.min.is_none() {
        merged.min = kept(stored.min);
        merged.min_flag.clone_from(&stored.min_flag);
    }
    if merged.max.is_none() {
        merged.max = kept(stored.max);
        merged.max_flag.clone_from(&stored.max_flag);
    }
    merged
}

/// A value in another unit; untouched where the unit is the same, so that no rounding makes it a new one.
fn as_sent_in(value: Option<f64>, from: Unit, to: Unit) -> Option<f64> {
    match from == to {
        true => value,
        false => Some(Temperature::new(value?, from)?.in_unit(to)),
    }
}

const COLUMNS: &str = "day, tmin, tmax, unit, tmin_flag, tmax_flag";

/// What a station reports for a day.
///
/// # Errors
/// A failing statement.
pub fn one(
    connection: &Connection,
    station: &StationId,
    date: NaiveDate,
) -> Result<Option<ReceivedDay>, StoreError> {
    let sql = format!("SELECT {COLUMNS} FROM station_day WHERE station = ?1 AND day = ?2");
    let row = connection
        .prepare_cached(&sql)?
        .query_row(params![station.as_str(), date.to_string()], |row| {
            Ok(read(row))
        })
        .optional()?;
    row.transpose()
}

/// A row of the columns day, tmin, tmax, unit, tmin_flag, tmax_flag.
pub(super) fn read(row: &Row<'_>) -> Result<ReceivedDay, StoreError> {
    let unit = row.get_ref(3)?.as_str().map_err(rusqlite::Error::from)?;
    Ok(ReceivedDay {
        date: day(row.get_ref(0)?.as_str().map_err(rusqlite::Error::from)?)?,
        min: row.get(1)?,
        max: row.get(2)?,
        unit: Unit::from_code(unit).ok_or_else(|| StoreError::Value {
            column: "unit",
            value: unit.to_owned(),
        })?,
        min_flag: row.get(4)?,
        max_flag: row.get(5)?,
    })
}

/// All days of a station before a civil day, oldest first.
///
/// # Errors
/// A failing statement.
pub fn before(
    connection: &Connection,
    station: &StationId,
    as_of: NaiveDate,
) -> Result<Vec<ReceivedDay>, StoreError> {
    let sql =
        format!("SELECT {COLUMNS} FROM station_day WHERE station = ?1 AND day < ?2 ORDER BY day");
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query(params![station.as_str(), as_of.to_string()])?;
    let mut days = Vec::new();
    while let Some(row) = rows.next()? {
        days.push(read(row)?);
    }
    Ok(days)
}

/// Days of a station before a civil day that a fetch revised, or brought late, in a stretch of time,
/// oldest first.
///
/// # Errors
/// A failing statement.
pub fn changed(
    connection: &Connection,
    station: &StationId,
    before: NaiveDate,
    when: Range<DateTime<Utc>>,
) -> Result<Vec<NaiveDate>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT day FROM station_day
         WHERE station = ?1 AND day < ?5 AND received_at >= ?3 AND received_at < ?4
         UNION
         SELECT day FROM station_day_history
         WHERE station = ?1 AND day < ?2 AND replaced_at >= ?3 AND replaced_at < ?4
         ORDER BY day",
    )?;
    let (from, to) = (when.start.timestamp(), when.end.timestamp());
    let late = before
        .checked_sub_days(Days::new(u64::from(FRESH_DAYS)))
        .unwrap_or(before);
    let days = (before.to_string(), late.to_string());
    let key = params![station.as_str(), days.0, from, to, days.1];
    let rows = statement.query_map(key, |row| row.get::<_, String>(0))?;
    rows.map(|text| day(&text?)).collect()
}

/// The days of a station from a civil day up to another that a fetch revised in a stretch of time, as they
/// were before it, oldest first.
///
/// # Errors
/// A failing statement.
pub fn revised(
    connection: &Connection,
    station: &StationId,
    days: Range<NaiveDate>,
    when: Range<DateTime<Utc>>,
) -> Result<Vec<ReceivedDay>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM station_day_history
         WHERE station = ?1 AND day >= ?2 AND day < ?3 AND replaced_at >= ?4 AND replaced_at < ?5
         ORDER BY day, replaced_at"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let (from, to) = (days.start.to_string(), days.end.to_string());
    let (since, until) = (when.start.timestamp(), when.end.timestamp());
    let key = params![station.as_str(), from, to, since, until];
    let rows = statement.query_map(key, |row| Ok(read(row)))?;
    let mut before: Vec<ReceivedDay> = rows.map(|row| row?).collect::<Result<_, _>>()?;
    before.dedup_by_key(|day| day.date);
    Ok(before)
}

/// One fetch and what came of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fetch {
    /// The station.
    pub station: StationId,
    /// First civil day asked for.
    pub from: NaiveDate,
    /// Last civil day asked for.
    pub to: NaiveDate,
    /// When.
    pub at: DateTime<Utc>,
    /// Days received and, of those, new or different; or the error.
    pub outcome: Result<(usize, usize), String>,
    /// Rows that could not be read, in words.
    pub remarks: Option<String>,
}

/// Writes a fetch into the log.
///
/// # Errors
/// A failing statement.
pub fn log(connection: &Connection, fetch: &Fetch) -> Result<(), StoreError> {
    let (outcome, (days, changed), detail) = match &fetch.outcome {
        Ok(counts) => ("ok", *counts, fetch.remarks.as_ref()),
        Err(error) => ("failed", (0, 0), Some(error)),
    };
    connection
        .prepare_cached(
            "INSERT INTO fetch_log (station, from_day, to_day, at, outcome, days, changed, detail)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?
        .execute(params![
            fetch.station.as_str(),
            fetch.from.to_string(),
            fetch.to.to_string(),
            fetch.at.timestamp(),
            outcome,
            i64::try_from(days).unwrap_or(i64::MAX),
            i64::try_from(changed).unwrap_or(i64::MAX),
            detail,
        ])?;
    Ok(())
}

/// How often a stretch that comes with fewer days than it has is asked for before it is left.
const ASKED_OFTEN_ENOUGH: i64 = 5;

/// Whether a stretch of days need not be asked for any more: it came nearly whole once, or has been
/// asked for often enough to believe that the archive has no more.
///
/// # Errors
/// A failing statement.
pub fn is_settled(
    connection: &Connection,
    station: &StationId,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<bool, StoreError> {
    let nearly_whole = (to - from).num_days() * 9 / 10;
    Ok(connection
        .prepare_cached(
            "SELECT coalesce(max(days), 0) >= ?4 OR count(*) >= ?5 FROM fetch_log
             WHERE station = ?1 AND outcome = 'ok' AND from_day <= ?2 AND to_day >= ?3",
        )?
        .query_row(
            params![
                station.as_str(),
                from.to_string(),
                to.to_string(),
                nearly_whole,
                ASKED_OFTEN_ENOUGH
            ],
            |row| row.get(0),
        )?)
}

/// Stations whose newest fetch, made since an instant, went well and reached up to a civil day: the
/// last stretch that a night asks for.
///
/// # Errors
/// A failing statement.
pub fn came_in_since(
    connection: &Connection,
    since: DateTime<Utc>,
    up_to: NaiveDate,
) -> Result<BTreeSet<String>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT station, outcome FROM fetch_log
         WHERE at >= ?1 AND to_day >= ?2 AND id IN (SELECT max(id) FROM fetch_log GROUP BY station)",
    )?;
    let key = params![since.timestamp(), up_to.to_string()];
    let rows = statement.query_map(key, |row| Ok((row.get(0)?, row.get::<_, String>(1)?)))?;
    let mut came_in = BTreeSet::new();
    for row in rows {
        let (station, outcome) = row?;
        if outcome == "ok" {
            came_in.insert(station);
        }
    }
    Ok(came_in)
}

/// The first day of a stretch that is missing or incomplete in the record.
///
/// # Errors
/// A failing statement.
pub fn first_gap(
    connection: &Connection,
    station: &StationId,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT day FROM station_day WHERE station = ?1 AND day BETWEEN ?2 AND ?3
         AND tmin IS NOT NULL AND tmax IS NOT NULL ORDER BY day",
    )?;
    let range = params![station.as_str(), from.to_string(), to.to_string()];
    let rows = statement.query_map(range, |row| row.get::<_, String>(0))?;
    let mut complete = rows.map(|text| day(&text?));
    for expected in from.iter_days().take_while(|date| *date <= to) {
        if complete.next().transpose()? != Some(expected) {
            return Ok(Some(expected));
        }
    }
    Ok(None)
}

/// The newest day of a station that has both values.
///
/// # Errors
/// A failing statement.
pub fn newest_complete(
    connection: &Connection,
    station: &StationId,
) -> Result<Option<NaiveDate>, StoreError> {
    let newest: Option<String> = connection
        .prepare_cached(
            "SELECT max(day) FROM station_day
             WHERE station = ?1 AND tmin IS NOT NULL AND tmax IS NOT NULL",
        )?
        .query_row([station.as_str()], |row| row.get(0))?;
    newest.map(|text| day(&text)).transpose()
}

/// The error of each station whose newest fetch failed.
///
/// # Errors
/// A failing statement.
pub fn failing(connection: &Connection) -> Result<BTreeMap<String, String>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT station, outcome, coalesce(detail, '') FROM fetch_log
         WHERE id IN (SELECT max(id) FROM fetch_log GROUP BY station)",
    )?;
    let rows = statement.query_map([], |row| {
        Ok((row.get(0)?, row.get::<_, String>(1)?, row.get(2)?))
    })?;
    let mut failing = BTreeMap::new();
    for row in rows {
        let (station, outcome, detail) = row?;
        if outcome == "failed" {
            failing.insert(station, detail);
        }
    }
    Ok(failing)
}

/// When a station's feed last answered with days.
///
/// # Errors
/// A failing statement.
pub fn last_answer(
    connection: &Connection,
    station: &StationId,
) -> Result<Option<DateTime<Utc>>, StoreError> {
    let last: Option<i64> = connection
        .prepare_cached("SELECT max(at) FROM fetch_log WHERE station = ?1 AND outcome = 'ok'")?
        .query_row([station.as_str()], |row| row.get(0))?;
    last.map(instant).transpose()
}

/// The newest of what stations sent.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Newest {
    /// The newest fetch that went well by a clock that the station's own days agree with.
    pub fetch: Option<DateTime<Utc>>,
    /// The newest day.
    pub day: Option<NaiveDate>,
}

/// A station's newest day is so long before a fetch at the most whose clock it agrees with.
const AGREES_WITHIN: Days = Days::new(15);

/// The newest of what came from some stations. A fetch whose instant lies long after the newest day of its station
/// says nothing of the time: it may have been made by a clock that was ahead.
///
/// # Errors
/// A failing statement.
pub fn newest(connection: &Connection, stations: &[StationId]) -> Result<Newest, StoreError> {
    let mut day_of =
        connection.prepare_cached("SELECT max(day) FROM station_day WHERE station = ?1")?;
    let mut fetch_of = connection.prepare_cached(
        "SELECT max(at) FROM fetch_log WHERE station = ?1 AND outcome = 'ok' AND at < unixepoch(?2)",
    )?;
    let mut newest = Newest::default();
    for station in stations {
        let found: Option<String> = day_of.query_row([station.as_str()], |row| row.get(0))?;
        let Some(found) = found.map(|text| day(&text)).transpose()? else {
            continue;
        };
        let agrees_before = found.checked_add_days(AGREES_WITHIN).unwrap_or(found);
        let key = params![station.as_str(), agrees_before.to_string()];
        let at: Option<i64> = fetch_of.query_row(key, |row| row.get(0))?;
        newest.fetch = newest.fetch.max(at.map(instant).transpose()?);
        newest.day = newest.day.max(Some(found));
    }
    Ok(newest)
}

#[cfg(test)]
mod tests {
    use duskflight_core::heat::HeatSeries;
    use duskflight_core::weather::StationWeather;
    use proptest::prelude::*;

    use super::*;
    use crate::config::navel_orangeworm;

    fn database() -> Connection {
        let connection = Connection::open_in_memory().unwrap();
        connection
            .execute_batch(include_str!("schema.sql"))
            .unwrap();
        connection
    }

    fn first() -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 5, 1).unwrap()
    }

    fn received(place: u64, (min, max): (f64, f64)) -> ReceivedDay {
        ReceivedDay {
            date: first().checked_add_days(Days::new(place)).unwrap(),
            min: Some(min.round()),
            max: Some(max.round()),
            unit: Unit::Fahrenheit,
            min_flag: None,
            max_flag: None,
        }
    }

    /// What the record adds up to, by hand of the very code of a night.
    fn heat(connection: &Connection, station: &StationId) -> Option<HeatSeries> {
        let as_of = first().checked_add_days(Days::new(40)).unwrap();
        let days = before(connection, station, as_of).unwrap();
        let weather = StationWeather::alone(station.clone(), &days, as_of);
        Some(HeatSeries::new(weather.series()?, navel_orangeworm().heat))
    }

    fn sent(min: Option<f64>, max: Option<f64>, unit: Unit) -> ReceivedDay {
        ReceivedDay {
            min,
            max,
            unit,
            ..received(0, (0.0, 0.0))
        }
    }

    #[test]
    fn a_missing_value_wipes_none_of_a_feed_with_another_unit() {
        let celsius = sent(Some(15.0), Some(35.0), Unit::Celsius);
        let half = |unit, min| sent(Some(min), None, unit);
        let none = sent(None, None, Unit::Fahrenheit);
        let fahrenheit = |min, max| sent(Some(min), Some(max), Unit::Fahrenheit);
        for (stored, new, expected, counts) in [
            (&celsius, none.clone(), celsius.clone(), 0),
            (
                &celsius,
                half(Unit::Fahrenheit, 60.0),
                fahrenheit(60.0, 95.0),
                1,
            ),
            (&celsius, fahrenheit(60.0, 96.0), fahrenheit(60.0, 96.0), 1),
            (
                &fahrenheit(59.0, 95.0),
                half(Unit::Celsius, 16.0),
                sent(Some(16.0), Some(35.0), Unit::Celsius),
                1,
            ),
            (
                &none,
                half(Unit::Celsius, 16.0),
                half(Unit::Celsius, 16.0),
                1,
            ),
        ] {
            let (connection, station) = (database(), StationId::new("S").unwrap());
            let now = DateTime::UNIX_EPOCH;
            merge(
                &connection,
                &station,
                "old",
                std::slice::from_ref(stored),
                now,
            )
            .unwrap();
            for changed in [counts, 0] {
                let new = std::slice::from_ref(&new);
                assert_eq!(
                    merge(&connection, &station, "new", new, now).unwrap(),
                    changed
                );
                assert_eq!(
                    one(&connection, &station, first()).unwrap(),
                    Some(expected.clone())
                );
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]
        /// Thirty days are revised up to four times each; revisions of different days come in any
        /// order, those of one day in theirs.
        #[test]
        fn revisions_in_any_order_add_up_like_a_record_from_scratch(
            versions in prop::collection::vec(
                prop::collection::vec((45.0..62.0, 75.0..104.0), 1..=4), 30),
            order in prop::collection::vec(0_usize..30, 200),
        ) {
            let station = StationId::new("S").unwrap();
            let now = DateTime::UNIX_EPOCH;
            let revised = database();
            let mut next = vec![0; versions.len()];
            let all = order.into_iter().chain((0..30).cycle().take(120));
            for place in all {
                if let Some(values) = versions[place].get(next[place]) {
                    let day = received(place as u64, *values);
                    merge(&revised, &station, "test", &[day], now).unwrap();
                    next[place] += 1;
                }
            }
            let scratch = database();
            let last = versions.iter().zip(0..).map(|(of_day, place)| {
                received(place, *of_day.last().unwrap())
            });
            merge(&scratch, &station, "test", &last.collect::<Vec<_>>(), now).unwrap();
            prop_assert_eq!(heat(&revised, &station), heat(&scratch, &station));
        }
    }
}
