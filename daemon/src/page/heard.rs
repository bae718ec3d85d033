//! What growers have been told, and by when: their pages say nothing before their mails do.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use duskflight_core::id::{BlockId, PersonId};
use duskflight_core::ledger::{Event, Value};
use duskflight_core::season::BlockSeason;

use super::page_error::PageError;
use super::view::FarmView;
use crate::clock::day_before;
use crate::config::{Config, Person};
use crate::store::jobs::{self, Job, Run};
use crate::store::mails_shown;
use crate::store::told::{self, OfBlock};
use crate::telling::waiting::WaitingAlerts;

/// The last day of which a grower may know: its mails have left, or would have by now. An alert that is held or waits
/// keeps back what it tells.
///
/// # Errors
/// When the records cannot be read.
pub(super) async fn heard_up_to(
    view: &FarmView,
    person: &Person,
    now: DateTime<Utc>,
) -> Result<NaiveDate, PageError> {
    let (id, today) = (person.id.clone(), view.day());
    let (run, newest, waiting) = view
        .read(move |c| {
            let waiting = WaitingAlerts::read(c)?;
            let theirs = waiting.alerts.iter();
            let theirs = theirs.filter(|alert| alert.mail.person == id);
            let waiting = theirs.map(|alert| alert.mail.day).min();
            let newest = mails_shown::newest_news(c, &id)?;
            Ok((jobs::newest(c, Job::Tell, true)?, newest, waiting))
        })
        .await?;
    let heard = heard(&view.config, run.as_ref(), today, now);
    // What an adviser let go has left before its time.
    let heard = newest.map_or(heard, |day| heard.max(day.min(today)));
    Ok(waiting.map_or(heard, |waiting| heard.min(day_before(waiting))))
}

/// The newest day that was told and whose hold time is over; while nothing was told at all, the day before.
fn heard(config: &Config, told: Option<&Run>, today: NaiveDate, now: DateTime<Utc>) -> NaiveDate {
    let hold = TimeDelta::hours(i64::from(config.hold_hours));
    let day = match told {
        None => day_before(today),
        Some(run) if now >= run.finished.unwrap_or(run.started) + hold => run.day,
        Some(run) => day_before(run.day),
    };
    day.min(today)
}

/// Which seasons of a view have a confirmed start that somebody has not heard of: no mail of it to them, or without one
/// to their adviser, has left. `is_theirs` says of which blocks they hear like that.
///
/// # Errors
/// When the records cannot be read.
pub(super) async fn unheard(
    view: &FarmView,
    person: &PersonId,
    is_theirs: impl Fn(&BlockSeason) -> bool,
) -> Result<Vec<usize>, PageError> {
    let is_asked = |season: &BlockSeason| is_theirs(season) && season.start.status.is_firm();
    let seasons = || view.night.seasons.iter().enumerate();
    let asked = seasons().filter(|(_, season)| is_asked(season));
    let asked: Vec<(usize, BlockId, i32)> = asked
        .map(|(place, season)| (place, season.block.id.clone(), season.year))
        .collect();
    let day = view.day();
    let told: BTreeMap<usize, Vec<OfBlock>> = view
        .read(move |c| {
            let of = |(place, block, year)| Ok((place, told::of_block(c, year, &block, day)?));
            asked.into_iter().map(of).collect()
        })
        .await?;
    let unheard = told
        .iter()
        .filter(|(place, told)| !has_heard(told, &view.night.seasons[**place], person));
    Ok(unheard.map(|(place, _)| *place).collect())
}

/// Whether a start is the one that somebody was told last by a mail that has left; who is told no starts hears what
/// others were told. `told` has the newest first.
fn has_heard(told: &[OfBlock], season: &BlockSeason, person: &PersonId) -> bool {
    let of_start =
        |telling: &&OfBlock| telling.event == Event::Start && telling.insect == season.insect;
    let told: Vec<&OfBlock> = told.iter().filter(of_start).collect();
    let is_told = told.iter().any(|telling| telling.person == *person);
    let heard = told
        .iter()
        .find(|telling| telling.has_left() && (!is_told || telling.person == *person));
    let value = heard.and_then(|telling| telling.value);
    match (value, season.start.date) {
        (Some(value), Some(date)) => !value.is_left_by(Value::Day(date)),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::jobs::RunState;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 6, d).unwrap()
    }

    fn at(d: u32, hour: u32) -> DateTime<Utc> {
        day(d).and_hms_opt(hour, 0, 0).unwrap().and_utc()
    }

    #[test]
    fn growers_know_of_a_day_once_it_was_told_and_the_hold_time_is_over() {
        let full = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/full");
        let config = Config::read(&full).unwrap();
        let hold = u32::from(config.hold_hours);
        let run = |on: u32, finished: Option<DateTime<Utc>>| Run {
            day: day(on),
            state: RunState::Done,
            attempts: 1,
            first: at(on, 13),
            started: at(on, 13),
            finished,
            error: None,
        };
        let check = |run: Option<Run>, now, expected| {
            assert_eq!(heard(&config, run.as_ref(), day(20), now), day(expected));
        };
        check(None, at(20, 20), 19);
        check(Some(run(20, Some(at(20, 13)))), at(20, 12 + hold), 19);
        check(Some(run(20, Some(at(20, 13)))), at(20, 13 + hold), 20);
        // The machine was off this morning: nobody was told yet.
        check(Some(run(18, Some(at(18, 13)))), at(20, 20), 18);
        // A clock that was ahead.
        check(Some(run(25, Some(at(19, 13)))), at(20, 20), 20);
    }
}
