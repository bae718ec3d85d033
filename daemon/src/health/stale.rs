//! What is stale.

use chrono::{DateTime, TimeDelta, Utc};
use duskflight_core::weather::is_fresh;

use super::found::Found;
use super::lines::clock_words;
use crate::clock::day_before;
use crate::config::Config;

/// A morning is told within so long of its hour.
const TOLD_WITHIN: TimeDelta = TimeDelta::hours(2);
/// An alert waits for a day and its hold at the longest.
const SENT_WITHIN: TimeDelta = TimeDelta::hours(36);

/// What is stale; nothing where all is well: health means that work was done.
#[must_use]
pub fn stale(config: &Config, found: &Found, now: DateTime<Utc>) -> Vec<String> {
    let today = config.day_of(now);
    let mut stale = Vec::new();
    let missing = found.missing.as_ref();
    stale.extend(missing.map(|missing| config.words.missing_records(missing)));
    stale.extend(clock_words(found));
    for (name, newest) in &found.stations {
        let fresh = newest.is_some_and(|day| day <= today && is_fresh(day, today));
        if !fresh {
            let newest = newest.map_or_else(|| "none".to_owned(), |day| day.to_string());
            stale.push(format!("station {name}: newest complete day {newest}"));
        }
    }
    let due = if now > config.digest_instant(today) + TOLD_WITHIN {
        today
    } else {
        day_before(today)
    };
    // One of a clock that was ahead says nothing.
    let is_told = found.told.is_some_and(|told| (due..=today).contains(&told));
    if !is_told {
        stale.push(format!("{due} was not told"));
    }
    if found
        .outbox
        .oldest
        .is_some_and(|oldest| now - oldest > SENT_WITHIN)
    {
        stale.push("a mail has been waiting for more than a day and a half".to_owned());
    }
    stale
}
