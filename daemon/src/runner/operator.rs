//! Mails to whoever looks after the box: a job fails again and again, or the clock holds up the work; or all works again.

use chrono::{DateTime, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailKind, Role};
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::hash::hash;
use crate::mail::compose::envelope_of;
use crate::mail::contents::{Holds, MailContents};
use crate::mail::message::{Envelope, Mailbox};
use crate::store::outbox::{self, NewMail};
use crate::store::{StoreError, alarm};

/// What may fail again and again.
#[derive(Debug, Clone, Copy)]
pub(super) enum Matter<'a> {
    /// The fetch of a station, of which each civil day counts once.
    Station(&'a Station),
    /// A job, by its word; each try counts.
    Job(&'a str),
    /// The mailbox with answers, of which each hour counts once.
    Mailbox,
    /// The machine's clock, which is told at once.
    Clock,
}

impl Matter<'_> {
    fn key(self) -> String {
        match self {
            Self::Station(station) => format!("station {}", station.id),
            Self::Job(job) => job.to_owned(),
            Self::Mailbox => alarm::MAILBOX.to_owned(),
            Self::Clock => "clock".to_owned(),
        }
    }

    fn occasion(self, config: &Config, now: DateTime<Utc>) -> String {
        match self {
            Self::Station(_) => config.day_of(now).to_string(),
            Self::Mailbox => now.format("%Y-%m-%dT%H").to_string(),
            Self::Job(_) | Self::Clock => now.to_rfc3339(),
        }
    }

    fn name(self) -> String {
        match self {
            Self::Station(station) => format!("fetching {}", station.name),
            Self::Job(job) => format!("the job {job}"),
            Self::Mailbox => "fetching answers".to_owned(),
            Self::Clock => "the clock of the box".to_owned(),
        }
    }

    const fn to_do(self) -> &'static str {
        match self {
            Self::Station(_) => {
                "Where the feed's address, a field's name or the station's id has changed, or the station is gone, \
                 change it in duskflight.toml or name another station; duskflight check --online tries it. Until then \
                 its days are estimated where the guide says so, and missing otherwise."
            }
            Self::Job(_) => {
                "duskflight status shows more, and duskflight nightly tries it by hand."
            }
            Self::Mailbox => {
                "Until it works answers wait in the mailbox and none is lost; duskflight check --online tries it."
            }
            Self::Clock => {
                "Until the clock is right, nobody is told anything and mails wait; then the work goes on by itself. Set \
                 the clock, let a time service keep it, and have a dead clock battery changed. duskflight clock shows \
                 what is thought of it; where it is right, duskflight clock mend sets aside what a wrong one stored."
            }
        }
    }
}

/// Counts what came of a try, and queues the mails that it is time for.
pub(super) fn note(
    connection: &Connection,
    config: &Config,
    matter: Matter<'_>,
    error: Option<&str>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let key = matter.key();
    let since = match error {
        Some(_) if matches!(matter, Matter::Clock) => alarm::raised(connection, &key, now)?,
        Some(_) => alarm::failed(connection, &key, &matter.occasion(config, now), now)?,
        None => alarm::works(connection, &key)?,
    };
    let Some(since) = since else {
        return Ok(());
    };
    let name = matter.name();
    let since = config.moment_words(since);
    let (headline, lines) = match error {
        Some(error) if matches!(matter, Matter::Clock) => (
            "The clock of the box is in doubt: nothing is told".to_owned(),
            vec![
                format!("For a day up to {since}: {error}."),
                matter.to_do().to_owned(),
            ],
        ),
        Some(error) => (
            format!("Three times in a row: {name} failed"),
            vec![
                format!("It fails since {since}: {error}"),
                matter.to_do().to_owned(),
            ],
        ),
        None => (
            format!("Again well: {name}"),
            vec![format!("It had failed since {since}.")],
        ),
    };
    say(connection, config, &key, headline, lines, now)
}

/// Queues mails about a matter, by its word.
///
/// # Errors
/// A failing statement.
pub(super) fn say(
    connection: &Connection,
    config: &Config,
    key: &str,
    headline: String,
    lines: Vec<String>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    for mail in mails(config, key, &Holds::Operator { headline, lines }, now) {
        outbox::queue(connection, &mail)?;
    }
    Ok(())
}

/// To the operator where one is declared, else to each adviser.
fn mails(config: &Config, key: &str, holds: &Holds, now: DateTime<Utc>) -> Vec<NewMail> {
    let as_of = config.moment_words(now);
    let advisers = config.people.iter();
    let advisers = advisers.filter(|person| person.roles.has(Role::Adviser));
    let to: Vec<(PersonId, Mailbox<'_>)> = match &config.operator {
        Some(address) => PersonId::new("operator")
            .map(|id| {
                (
                    id,
                    Mailbox {
                        name: "Operator",
                        address,
                    },
                )
            })
            .into_iter()
            .collect(),
        None => advisers
            .map(|person| {
                let (name, address) = (&person.name, &person.email);
                (person.id.clone(), Mailbox { name, address })
            })
            .collect(),
    };
    let Some(anyone) = config.people.first() else {
        return Vec::new();
    };
    let mail = |(person, to): (PersonId, Mailbox<'_>)| {
        let (name, domain) = (
            hash(&[person.as_str().as_bytes(), key.as_bytes()]),
            config.mail_from.domain(),
        );
        let message_id = format!(
            "<operator.{}.{name}@{domain}>",
            now.format("%Y-%m-%dT%H%M%SZ")
        );
        let address = to.address.to_owned();
        let envelope = Envelope {
            to,
            ..envelope_of(config, anyone, &message_id, now, &as_of)
        };
        let contents = MailContents::new(&envelope, config.words, holds.clone());
        NewMail {
            kind: MailKind::Operator,
            person,
            adviser: None,
            day: config.day_of(now),
            about: format!("{key} {}", now.timestamp()),
            address,
            subject: contents.subject(),
            body: None,
            queued_at: now,
            contents: Some(contents.to_json()),
            waits_for: Vec::new(),
            hold_s: 0,
            message_id,
        }
    };
    to.into_iter().map(mail).collect()
}
