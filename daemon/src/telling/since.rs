//! What has come into the records since a day of telling.

use std::ops::Range;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::StationId;
use duskflight_core::ledger::Since;
use rusqlite::Connection;

use crate::config::Config;
use crate::store::jobs::{self, Job};
use crate::store::{StoreError, days, decisions, notes, visits};

/// What came in after `told_on` was told and before `now`.
pub(super) fn since(
    connection: &Connection,
    config: &Config,
    station: &StationId,
    told_on: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Since, StoreError> {
    let told = jobs::run(connection, Job::Tell, told_on)?.and_then(|run| run.finished);
    let told = told.unwrap_or_else(|| config.digest_instant(told_on));
    let when: Range<DateTime<Utc>> = told..now;
    Ok(Since {
        station_days: days::changed(connection, station, told_on, when.clone())?,
        decided_days: decisions::changed(connection, station, told_on, when.clone())?,
        readings: visits::entered_late(connection, when.clone(), told_on)?,
        notes: notes::entered(connection, when.clone())?,
        withdrawn_readings: visits::withdrawn(connection, when.clone())?,
        withdrawn_notes: notes::withdrawn(connection, when)?,
    })
}
