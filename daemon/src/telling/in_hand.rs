//! What an adviser does to an alert that waits: holds it, lets it go, adds a line. The same for the command and for
//! an answer.

use chrono::{DateTime, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::MailState;
use rusqlite::Connection;

use super::waiting::{WaitingAlerts, name};
use crate::config::Config;
use crate::mail::contents::{Act, MailContents, What};
use crate::mail::message::ComposeError;
use crate::store::StoreError;
use crate::store::alerts::{self, GoneAlert, WaitingAlert};

/// Longest line that can be added to an alert, in characters.
const LONGEST_LINE: usize = 500;
/// Why no line can be added to a mail.
const NO_LINES: &str = "it stands for several alerts, or was made by an earlier version, and no line can be added to it";

/// Why it could not be done.
#[derive(Debug, thiserror::Error)]
pub enum InHandError {
    /// Whoever asked for it must ask otherwise.
    #[error("{0}")]
    Refused(String),
    /// What the alert is composed from cannot be read.
    #[error("{id}: it was made by another version and cannot be composed anew")]
    OtherVersion {
        /// The alert's short id.
        id: String,
        /// What cannot be read.
        source: serde_json::Error,
    },
    /// It cannot be composed.
    #[error("compose the alert anew")]
    Compose(#[from] ComposeError),
    /// The records.
    #[error("read or write the outbox")]
    Store(#[from] StoreError),
}

/// What to do to which alert.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deed {
    /// A person for whom one alert waits, or an alert's id.
    pub who: String,
    /// Only of alerts about this adviser's blocks, where one is given.
    pub of: Option<PersonId>,
    /// Who does it; the adviser that the alert names where it is not given.
    pub by: Option<String>,
    /// What.
    pub what: What,
}

impl Deed {
    /// Does it to the one alert that is meant, and gives its Message-ID.
    ///
    /// # Errors
    /// [`InHandError`]; then nothing is done.
    pub fn carry_out(
        self,
        connection: &Connection,
        config: &Config,
        now: DateTime<Utc>,
    ) -> Result<String, InHandError> {
        let waiting = WaitingAlerts::read(connection)?;
        let who = self.who.trim_matches(['<', '>']);
        let mut meant = waiting.meant(who);
        meant.retain(|(_, alert)| {
            self.of
                .as_ref()
                .is_none_or(|adviser| is_about(alert, adviser))
        });
        let (id, alert) = match &meant[..] {
            [one] => *one,
            [] => {
                // What became of an alert about another adviser's blocks is not for this one.
                let gone = alerts::newest_gone(connection, who)?;
                let gone = gone.filter(|gone| self.of.is_none() || gone.adviser == self.of);
                return Err(none_waits(config, who, gone.as_ref()));
            }
            several => return Err(which(config, who, several)),
        };
        if let Some(tried) = tried(alert) {
            let tried = config.moment_words(tried);
            return Err(InHandError::Refused(format!(
                "{id}: it was tried first on {tried} and may have arrived; it can no longer be changed"
            )));
        }
        let by = self.by.unwrap_or_else(|| match &alert.mail.adviser {
            None => "an adviser".to_owned(),
            Some(adviser) => name(config, adviser).to_owned(),
        });
        let act = Act {
            by,
            at: now,
            what: self.what,
        };
        write(connection, (id, alert), act)?;
        Ok(alert.mail.message_id.clone())
    }
}

/// Whether an alert is about blocks of an adviser's; one that stands for several waits for the digests of all of them.
#[must_use]
pub fn is_about(alert: &WaitingAlert, adviser: &PersonId) -> bool {
    let mut digests = alert.mail.waits_for.iter();
    alert.mail.adviser.as_ref() == Some(adviser)
        || digests.any(|digest| digest.adviser.as_ref() == Some(adviser))
}

/// When an alert was tried first.
#[must_use]
pub fn tried(alert: &WaitingAlert) -> Option<DateTime<Utc>> {
    alert.mail.first_try.filter(|_| alert.mail.attempts > 0)
}

/// One line, neither empty nor long.
///
/// # Errors
/// [`InHandError::Refused`] with what is wrong.
pub fn checked_line(line: &str) -> Result<String, InHandError> {
    let line = line.trim();
    let length = line.chars().count();
    let wrong = if line.chars().any(char::is_control) {
        Some("it must be one line, without control characters".to_owned())
    } else if !(1..=LONGEST_LINE).contains(&length) {
        Some(format!(
            "it must have 1 to {LONGEST_LINE} characters and has {length}"
        ))
    } else {
        None
    };
    match wrong {
        Some(wrong) => Err(InHandError::Refused(format!(
            "the line cannot be added: {wrong}"
        ))),
        None => Ok(line.to_owned()),
    }
}

/// Writes what was done: into the outbox, into what the alert is composed from, and, where it adds or takes
/// out a line, into the mail.
fn write(
    connection: &Connection,
    (short, alert): (&str, &WaitingAlert),
    act: Act,
) -> Result<(), InHandError> {
    let id = &alert.mail.message_id;
    match act.what {
        What::Held if alert.mail.is_held() => return Ok(()),
        What::Held => drop(alerts::hold(connection, id, &act.by, act.at)?),
        What::Released => drop(alerts::release(connection, id, &act.by, act.at)?),
        What::Line(_) | What::Cleared => {}
    }
    let adds = !matches!(act.what, What::Held | What::Released);
    let contents = alert
        .contents
        .as_deref()
        .map(MailContents::from_json)
        .transpose();
    let contents = contents.map_err(|source| InHandError::OtherVersion {
        id: short.to_owned(),
        source,
    })?;
    let contents = contents.filter(|contents| !adds || contents.takes_lines());
    let Some(mut contents) = contents else {
        return match adds {
            true => Err(InHandError::Refused(format!("{short}: {NO_LINES}"))),
            false => Ok(()),
        };
    };
    if let What::Line(line) = &act.what
        && contents.lines().any(|said| said == (&act.by, line))
    {
        // The same once more, as of a form that was sent twice.
        return Ok(());
    }
    contents.act(act);
    let mail = contents.compose(id)?;
    alerts::rewrite(connection, id, &mail.bytes, &contents.to_json())?;
    Ok(())
}

fn none_waits(config: &Config, who: &str, gone: Option<&GoneAlert>) -> InHandError {
    let Some(gone) = gone else {
        return InHandError::Refused(format!(
            "{who}: no alert waits that this means; see `duskflight alerts`"
        ));
    };
    let at = gone.at.map(|at| format!(" on {}", config.moment_words(at)));
    InHandError::Refused(format!(
        "{who}: no alert waits; the alert of {} to {} was {}{}",
        config.words.day(gone.day),
        name(config, &gone.person),
        match gone.state {
            MailState::Failed | MailState::Expired => "given up",
            MailState::Unknown => "sent, and nobody knows whether it arrived,",
            other => other.name(),
        },
        at.unwrap_or_default()
    ))
}

fn which(config: &Config, who: &str, several: &[(&str, &WaitingAlert)]) -> InHandError {
    let lines: Vec<String> = several
        .iter()
        .map(|(id, alert)| {
            format!(
                "{id}: of {}: {}",
                config.words.day(alert.mail.day),
                alert.subject
            )
        })
        .collect();
    InHandError::Refused(format!(
        "{who}: {} alerts wait; name one by its id\n  {}",
        several.len(),
        lines.join("\n  ")
    ))
}
