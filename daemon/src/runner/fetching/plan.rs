//! Which days a station owes.

use chrono::{Datelike, Days, NaiveDate};
use rusqlite::Connection;

use crate::clock::day_before;
use crate::config::Station;
use crate::feed::{FetchedDays, Past};
use crate::store::{StoreError, days};

/// Days that are read again every night, since archives revise them.
const REREAD_DAYS: u64 = 60;

/// The stretches to ask for: past years that never came whole, one by one; then this year from its
/// first gap, and the days that may have been revised, also across the new year.
pub(super) fn plan(
    connection: &Connection,
    station: &Station,
    day: NaiveDate,
) -> Result<Vec<(NaiveDate, NaiveDate)>, StoreError> {
    let yesterday = day_before(day);
    let year = yesterday.year();
    let first_year = year - i32::from(station.history_years);
    match station.source.declares().past {
        // It comes whole with every request, so it is asked for once.
        Past::Whole => return Ok(vec![(new_year(first_year), yesterday)]),
        Past::Days(kept) => {
            return newest(connection, station, yesterday, kept).map(|days| vec![days]);
        }
        Past::AsAsked => {}
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

/// Of a feed that keeps its last days alone: those from the first gap among them, and at least the last two, which may
/// have been late.
fn newest(
    connection: &Connection,
    station: &Station,
    yesterday: NaiveDate,
    kept: u64,
) -> Result<(NaiveDate, NaiveDate), StoreError> {
    let back = |days| {
        yesterday
            .checked_sub_days(Days::new(days))
            .unwrap_or(yesterday)
    };
    let gap = days::first_gap(connection, &station.id, back(kept - 1), yesterday)?;
    let late = back(1);
    Ok((gap.map_or(late, |gap| gap.min(late)), yesterday))
}

/// A past year may be older than the station, but up to yesterday a feed has recent days: an answer
/// without any is a failure, however well formed.
pub(super) fn some_recent(
    fetched: FetchedDays,
    recent_from: NaiveDate,
) -> Result<FetchedDays, String> {
    match fetched.days.last() {
        Some(newest) if newest.date >= recent_from => Ok(fetched),
        Some(newest) => Err(format!("the feed's newest day is {}", newest.date)),
        None => Err("the feed has no day of the last two months".to_owned()),
    }
}

pub(super) fn reread_from(yesterday: NaiveDate) -> NaiveDate {
    yesterday
        .checked_sub_days(Days::new(REREAD_DAYS))
        .unwrap_or(yesterday)
}

fn new_year(year: i32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, 1, 1).unwrap_or(NaiveDate::MIN)
}
