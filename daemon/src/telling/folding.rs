//! Mails that could not be delivered for more than a day: today's tell what holds now instead.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rusqlite::Connection;

use crate::config::Config;
use crate::store::StoreError;
use crate::store::folding::{FoldedMail, fold};
use crate::store::outbox::read_queue;

/// A mail that waits for so long is not merely late: the next morning's mail is there already.
const PATIENCE: TimeDelta = TimeDelta::hours(26);

/// Folds what waits because of trouble, of everyone who is told anew tonight. Off the season that is the
/// advisers: others would not hear the same again.
pub(super) fn fold_stuck(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Vec<FoldedMail>, StoreError> {
    let mut folded = Vec::new();
    let Some(pace) = config.pace_on(day) else {
        return Ok(folded);
    };
    let told_anew = config.people.iter();
    let told_anew = told_anew.filter(|person| pace.tells_anew(&person.roles));
    let into = format!("folded into the mail of {}", config.words.day(day));
    let queue = read_queue(connection)?;
    for person in told_anew {
        folded.extend(fold(
            connection, &queue, &person.id, day, PATIENCE, now, &into,
        )?);
    }
    Ok(folded)
}
