//! What each person is told on one civil day, with the mail that tells it.

use chrono::{DateTime, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{Notice, Role};
use rusqlite::Connection;

use super::context::{Causes, Context};
use super::{Night, TellError, daily_limit};
use crate::config::Config;
use crate::mail::message::Parts;
use crate::store::folding::FoldedMail;
use crate::store::outbox::NewMail;

/// What one person is told on one day.
#[derive(Debug, Clone)]
pub struct Telling {
    /// The person.
    pub person: PersonId,
    /// What goes into the ledger.
    pub notices: Vec<Notice>,
    /// Why what was told before changed.
    pub causes: Causes,
    /// The mail; `None` where all of it is history that is only recorded.
    pub draft: Option<Draft>,
}

/// A composed mail.
#[derive(Debug, Clone)]
pub struct Draft {
    /// The mail as it goes into the outbox.
    pub mail: NewMail,
    /// What it shows.
    pub parts: Parts,
}

/// What the mails are prepared for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// To be told: a mail that is in the outbox already is not made again, and what it could have
    /// told waits for the next day.
    Tell,
    /// To be looked at: as if the day had not been told yet.
    Preview,
    /// The same, with a letter to everybody who gets one, whatever the day of the week.
    PreviewLetters,
}

/// Decides what everyone is told and composes the mails, to be looked at or told. Off the season advisers
/// are told once a week, and nobody on other days.
///
/// # Errors
/// When the records cannot be read or a mail cannot be composed.
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
    let Some(pace) = config.pace_on(night.as_of) else {
        return Ok(Vec::new());
    };
    let context = Context::new(connection, config, night, purpose, pace, now, folded)?;
    let (mut tellings, mut plans) = (Vec::new(), Vec::new());
    for adviser in config.people.iter().filter(|p| p.role == Role::Adviser) {
        if let Some((digest, alerts)) = context.of_adviser(adviser)? {
            tellings.push(digest);
            plans.extend(alerts);
        }
    }
    for person in &config.people {
        let (own, others) = plans.into_iter().partition(|plan| plan.person == person);
        plans = others;
        let digests = tellings.iter().filter(|told| told.person == person.id);
        let digests = digests.count();
        tellings.extend(daily_limit::rationed(&context, person, own, digests)?);
    }
    Ok(tellings)
}
