//! How long records are kept that nobody asks for any more: what mails said, fetches, runs of jobs, the journal.
//! The ledger, the outbox's own rows and everything from the orchard stay.

use std::path::Path;

use chrono::{DateTime, Datelike, TimeDelta, Utc};
use duskflight_core::season::YEARS_LOOKED_AT;
use rusqlite::{Connection, params};

use super::journal::{self, JournalError};
use super::{Store, StoreError, answers, answers_aside, doors, kept_starts, outbox, page_forms};

/// A fetch is asked for by its station's newest, or where it brought a whole past year; beyond that it is a log.
const FETCHES_KEPT: TimeDelta = TimeDelta::days(400);
/// Two seasons of runs are looked back on, and the first and newest of each job for good.
const RUNS_KEPT: TimeDelta = TimeDelta::days(800);
/// An answer kept aside that has not come again for so long is nobody's question any more.
const ASIDE_KEPT: TimeDelta = TimeDelta::days(60);
/// Two seasons of what was put in another's place, as of an answer that revised another, or of a clock that was ahead.
const SUPERSEDED_KEPT: TimeDelta = TimeDelta::days(800);
/// So many mails are pruned in one transaction: others wait for it.
const MAILS_AT_ONCE: u32 = 100;

/// Prunes what was kept long enough, in small transactions, each of which may be the last. `mails_kept`: how long
/// what a mail said is kept since it was accepted or given up.
///
/// # Errors
/// When the records or the journal cannot be read or written.
pub async fn prune(
    store: &Store,
    journal: &Path,
    mails_kept: TimeDelta,
    now: DateTime<Utc>,
) -> Result<(), JournalError> {
    let before = now - mails_kept;
    while store
        .write(move |t| outbox::prune(t, before, MAILS_AT_ONCE))
        .await?
        > 0
    {}
    let journal = journal.to_owned();
    // The journal inside a transaction, since every process writes it in one.
    store
        .write(move |t| {
            prune_fetches(t, now - FETCHES_KEPT)?;
            prune_runs(t, now - RUNS_KEPT)?;
            answers_aside::prune(t, now - ASIDE_KEPT)?;
            answers::prune_left(t, (now - ASIDE_KEPT).date_naive())?;
            prune_waits(t, now - RUNS_KEPT)?;
            prune_superseded(t, now - SUPERSEDED_KEPT)?;
            doors::prune(t, now)?;
            page_forms::prune(t, now - RUNS_KEPT)?;
            kept_starts::prune(t, now.year() - YEARS_LOOKED_AT)?;
            journal::prune(&journal, now)
        })
        .await?;
    Ok(store.shrink().await?)
}

/// Keeps, whatever their age, the newest fetch of each station and those that brought whole years.
fn prune_fetches(connection: &Connection, before: DateTime<Utc>) -> Result<usize, StoreError> {
    Ok(connection.execute(
        "DELETE FROM fetch_log WHERE at < ?1
           AND id NOT IN (SELECT max(id) FROM fetch_log GROUP BY station)
           AND (outcome = 'failed' OR to_day < (substr(from_day, 1, 4) + (substr(from_day, 6) > '01-01')) || '-12-31')",
        [before.timestamp()],
    )?)
}

/// What a mail waited for, once it left or was given up long ago.
fn prune_waits(connection: &Connection, before: DateTime<Utc>) -> Result<usize, StoreError> {
    Ok(connection.execute(
        "DELETE FROM outbox_wait WHERE mail IN (SELECT message_id FROM outbox
           WHERE state != 'queued' AND coalesce(sent_at, given_up_at) < ?1)",
        [before.timestamp()],
    )?)
}

/// Values of station days that later answers replaced, and what a clock that was ahead had stored. What was entered by
/// hand keeps its history for good.
fn prune_superseded(connection: &Connection, before: DateTime<Utc>) -> Result<(), StoreError> {
    for sql in [
        "DELETE FROM station_day_history WHERE replaced_at < ?1",
        "DELETE FROM set_aside WHERE at < ?1",
        "DELETE FROM feed_wait WHERE until < ?1",
    ] {
        connection.execute(sql, [before.timestamp()])?;
    }
    Ok(())
}

/// Keeps, whatever their age, the newest run of each job, and its first and newest that was done.
fn prune_runs(connection: &Connection, before: DateTime<Utc>) -> Result<usize, StoreError> {
    Ok(connection.execute(
        "DELETE FROM job_run WHERE started_at < ?1
           AND (job, day) NOT IN (SELECT job, max(day) FROM job_run GROUP BY job)
           AND (job, day) NOT IN (SELECT job, max(day) FROM job_run WHERE state = 'done' GROUP BY job)
           AND (job, day) NOT IN (SELECT job, min(day) FROM job_run WHERE state = 'done' GROUP BY job)",
        params![before.timestamp()],
    )?)
}

#[cfg(test)]
mod tests;
