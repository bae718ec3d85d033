//! Recompute and tell one civil day, in one transaction.

mod before;
mod causes;
mod charts;
mod context;
mod draft;
mod error;
mod folding;
pub mod in_hand;
mod mails;
mod missing;
mod night;
mod one_person;
mod people;
mod purpose;
pub mod replay;
mod since;
mod trouble;
pub mod waiting;
mod weather;
mod would;

pub use causes::Causes;
pub use draft::Draft;
pub use error::TellError;
pub use mails::prepare;
pub use missing::{tell_missing, would_take_back};
pub use night::{KeptYears, Night, kept_years, night};
pub use one_person::Telling;
pub use people::{people, weekday_name};
pub use purpose::Purpose;
pub use weather::Stations;
pub use would::would_tell_of_starts;

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::Connection;

use crate::config::Config;
use crate::store::folding::{FoldedMail, wait_for_newer};
use crate::store::jobs::{self, Job, RunState};
use crate::store::{Store, told};
use crate::store::{alerts, outbox};
use duskflight_core::ledger::MailKind;

/// What telling a day did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Told {
    /// It was told before; nothing was done.
    Before,
    /// Records are missing: advisers are told that, and nothing else is told to anybody.
    Missing {
        /// Mails queued.
        mails: usize,
    },
    /// It is told now.
    Now {
        /// Mails queued.
        mails: usize,
        /// Events told, over all people.
        notices: usize,
    },
}

/// Tells one civil day: recomputes all seasons, compares them with the ledger, and writes ledger and
/// contents of digests and alerts together; their bytes are rendered afterwards. A day that is done is not told again unless `again`; even then
/// nothing is told twice, since the ledger decides.
///
/// # Errors
/// [`TellError`]; then nothing of the day is written.
pub async fn tell(
    store: &Store,
    config: &Arc<Config>,
    day: NaiveDate,
    again: bool,
    now: DateTime<Utc>,
) -> Result<Told, TellError> {
    let config = Arc::clone(config);
    store
        .write(move |transaction| {
            let before = jobs::run(transaction, Job::Tell, day)?;
            let done = before.is_some_and(|run| run.state == RunState::Done);
            if done && !again {
                return Ok(Told::Before);
            }
            let newest = jobs::newest(transaction, Job::Tell, true)?;
            if let Some(newest) = newest.map(|run| run.day).filter(|newest| *newest > day) {
                return Err(TellError::Past { day, newest });
            }
            jobs::begin(transaction, Job::Tell, day, now)?;
            // A day told again makes no new mails for those who have theirs.
            let folded = match done {
                true => Vec::new(),
                false => folding::fold_stuck(transaction, &config, day, now)?,
            };
            let (_, tellings) = tell_in(transaction, &config, day, now, folded)?;
            jobs::finish(transaction, Job::Tell, day, now, None)?;
            let with_mail = tellings.iter().filter(|telling| telling.draft.is_some());
            Ok(Told::Now {
                mails: with_mail.count(),
                notices: tellings.iter().map(|telling| telling.notices.len()).sum(),
            })
        })
        .await
}

/// Who holds a mail that the program itself keeps back.
const BY_PROGRAM: &str = "Duskflight";

/// Tells a day, and gives what was known and what was told.
fn tell_in(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
    now: DateTime<Utc>,
    folded: Vec<FoldedMail>,
) -> Result<(Night, Vec<Telling>), TellError> {
    let night = night(connection, config, day)?;
    night.keep(connection)?;
    let tellings = mails::prepare_after(connection, config, &night, Purpose::Tell, now, folded)?;
    for telling in &tellings {
        let mail = telling.draft.as_ref().map(|draft| &draft.mail);
        if let Some(mail) = mail {
            outbox::queue(connection, mail)?;
            if telling.waits_for_release {
                alerts::hold(connection, &mail.message_id, BY_PROGRAM, now)?;
            }
            if mail.kind == MailKind::Digest {
                wait_for_newer(connection, &telling.person, &mail.message_id)?;
            }
        }
        for notice in &telling.notices {
            let message_id = mail.map(|mail| mail.message_id.as_str());
            told::record(connection, &telling.person, notice, day, message_id)?;
        }
    }
    Ok((night, tellings))
}
