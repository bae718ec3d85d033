//! Storing what a feed answered, or keeping it aside until somebody takes it.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{Oddity, OwnRecord, judge_answer};
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::feed::FetchedDays;
use crate::store::StoreError;
use crate::store::answers_aside::{self, AnswerAside};
use crate::store::days::{self, Fetch};

/// What became of an answer.
pub(super) struct Kept {
    /// As it stands in the log.
    pub(super) log: Fetch,
    /// Whether it is kept aside.
    pub(super) aside: bool,
}

/// A question that was asked.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked<'a> {
    pub(super) station: &'a Station,
    pub(super) from: NaiveDate,
    pub(super) to: NaiveDate,
    /// The civil day of the fetch: days before it may be known.
    pub(super) day: NaiveDate,
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
        Ok(fetched) => match judged(connection, config, asked, &fetched)? {
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

fn judged(
    connection: &Connection,
    config: &Config,
    asked: Asked<'_>,
    fetched: &FetchedDays,
) -> Result<Result<(), Oddity>, StoreError> {
    let Asked { station, day, .. } = asked;
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
