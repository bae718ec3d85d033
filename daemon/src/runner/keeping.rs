//! Storing what a feed answered, or keeping it aside until somebody takes it.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{Oddity, OwnRecord, judge_answer};
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::feed::FetchedDays;
use crate::store::answers_aside::{self, AnswerAside};
use crate::store::days::{self, Fetch};
use crate::store::{Store, StoreError};

/// What became of an answer.
pub(super) struct Kept {
    /// As it stands in the log.
    pub(super) log: Fetch,
    /// Whether it is kept aside.
    pub(super) aside: bool,
}

/// A question that was asked.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// Of which station.
    pub station: &'a Station,
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// The civil day of the fetch: days before it may be known.
    pub day: NaiveDate,
}

/// Stores what a feed answered and logs it. An answer that is odd as a whole counts as none: it is kept aside,
/// and the stored days stay as they are.
pub(super) fn keep(
    connection: &Connection,
    config: &Config,
    asked: Asked<'_>,
    answer: Result<FetchedDays, String>,
    now: DateTime<Utc>,
) -> Result<Kept, StoreError> {
    let Asked {
        station, from, to, ..
    } = asked;
    let mut log = Fetch {
        station: station.id.clone(),
        from,
        to,
        at: now,
        outcome: Ok((0, 0)),
        remarks: None,
    };
    let mut aside = false;
    match answer {
        Err(error) => log.outcome = Err(error),
        Ok(fetched) => match judge(connection, config, (station, asked.day), &fetched)? {
            Ok(()) => {
                answers_aside::forget(connection, station.id.as_str(), to)?;
                let feed = station.source.name();
                let changed = days::merge(connection, &station.id, feed, &fetched.days, now)?;
                log.outcome = Ok((fetched.days.len(), changed));
                log.remarks = remarks(&fetched);
            }
            Err(oddity) => {
                aside = true;
                let unit = config.unit.unwrap_or(Unit::Fahrenheit);
                let answer = put_aside(asked, oddity, unit, fetched, now);
                log.outcome = Err(answers_aside::keep(connection, answer)?.words());
            }
        },
    }
    days::log(connection, &log)?;
    Ok(Kept { log, aside })
}

/// What is odd about an answer as a whole, beside what is stored.
///
/// # Errors
/// When the records cannot be read.
fn judge(
    connection: &Connection,
    config: &Config,
    (station, day): (&Station, NaiveDate),
    fetched: &FetchedDays,
) -> Result<Result<(), Oddity>, StoreError> {
    let record = |station: &Station| {
        let known = days::before(connection, &station.id, day)?;
        Ok::<_, StoreError>(OwnRecord::new(&known, &[], &station.facts, day))
    };
    let own = record(station)?;
    let mut fall_backs = Vec::new();
    if !own.as_ref().is_some_and(OwnRecord::knows_its_climate) {
        let stands_in = |other: &&Station| station.fall_backs.contains(&other.id);
        for other in config.stations.iter().filter(stands_in) {
            fall_backs.extend(record(other)?);
        }
    }
    let fall_backs: Vec<&OwnRecord> = fall_backs.iter().collect();
    Ok(judge_answer(
        &fetched.days,
        own.as_ref(),
        &fall_backs,
        &station.facts,
        day,
    ))
}

/// What a night would find odd about an answer as a whole, where nothing is to be stored; without records yet by what can
/// be at the station's place alone.
///
/// # Errors
/// When the records cannot be read.
pub async fn judge_only(
    config: &Arc<Config>,
    station: &Station,
    day: NaiveDate,
    fetched: FetchedDays,
) -> Result<Result<(), Oddity>, StoreError> {
    if !config.database.exists() {
        return Ok(judge_answer(&fetched.days, None, &[], &station.facts, day));
    }
    let store = Store::open_to_read(&config.database)?;
    let (config, station) = (Arc::clone(config), station.clone());
    store
        .read(move |c| judge(c, &config, (&station, day), &fetched))
        .await
}

fn put_aside(
    asked: Asked<'_>,
    oddity: Oddity,
    unit: Unit,
    fetched: FetchedDays,
    now: DateTime<Utc>,
) -> AnswerAside {
    AnswerAside {
        station: asked.station.id.to_string(),
        from: asked.from,
        to: asked.to,
        oddity: oddity.name().to_owned(),
        reason: oddity.words(unit),
        feed: asked.station.source.name().to_owned(),
        since: now,
        at: now,
        days: Some(fetched.days),
    }
}

/// Stores the answers of a station that were kept aside, as if they had just come; gives each with how many of
/// its days are new or different. From then on answers are judged by them.
///
/// # Errors
/// When the records cannot be read or written.
pub fn accept_aside(
    connection: &Connection,
    station: &Station,
    now: DateTime<Utc>,
) -> Result<Vec<(AnswerAside, usize)>, StoreError> {
    let mut taken = Vec::new();
    for answer in answers_aside::waiting(connection, station.id.as_str())? {
        let days = answer.days.as_deref().unwrap_or_default();
        let changed = days::merge(connection, &station.id, &answer.feed, days, now)?;
        let log = Fetch {
            station: station.id.clone(),
            from: answer.from,
            to: answer.to,
            at: now,
            outcome: Ok((days.len(), changed)),
            remarks: None,
        };
        days::log(connection, &log)?;
        answers_aside::forget(connection, station.id.as_str(), answer.to)?;
        taken.push((answer, changed));
    }
    Ok(taken)
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
