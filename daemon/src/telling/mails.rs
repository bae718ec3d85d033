//! A night's mails: planned in the core, made of contents here.

use chrono::{DateTime, Utc};
use duskflight_core::ledger::plan::{Hearers, plan_night};
use rusqlite::Connection;

use super::context::Context;
use super::one_person::Telling;
use super::purpose::Purpose;
use super::{Night, TellError, before};
use crate::config::Config;
use crate::store::folding::FoldedMail;

/// Plans what everyone is told and makes the contents of the mails, to be looked at or told. Off the season
/// advisers are told once a week, and nobody on other days.
///
/// # Errors
/// When the records cannot be read.
pub fn prepare(
    connection: &Connection,
    config: &Config,
    night: &Night,
    purpose: Purpose,
    now: DateTime<Utc>,
) -> Result<Vec<Telling>, TellError> {
    prepare_after(connection, config, night, purpose, now, Vec::new())
}

/// The same, with the mails that were folded tonight.
pub(super) fn prepare_after(
    connection: &Connection,
    config: &Config,
    night: &Night,
    purpose: Purpose,
    now: DateTime<Utc>,
    folded: Vec<FoldedMail>,
) -> Result<Vec<Telling>, TellError> {
    let day = night.as_of;
    let Some(pace) = config.pace_on(day) else {
        return Ok(Vec::new());
    };
    let people = config.hearers();
    let hearers = Hearers {
        people: &people,
        rules: &config.rules,
    };
    let ledger = before::ledger(connection, day, purpose)?;
    let made = before::mails(connection, &people, day, purpose, &folded)?;
    let tonight = before::tonight(connection, config, day, pace, purpose)?;
    let plans = plan_night(hearers, &night.seasons, &ledger, &made, &tonight);
    let context = Context::read(connection, config, night, (pace, now), folded, &plans)?;
    context.tellings(&plans)
}
