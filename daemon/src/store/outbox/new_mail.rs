//! Queueing a mail.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailIdentity, MailKind};
use rusqlite::{Connection, params};

use crate::store::StoreError;

/// A mail to queue.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewMail {
    /// Message-ID header.
    pub message_id: String,
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The adviser whose blocks it is about; `None` where it is about those of several.
    pub adviser: Option<PersonId>,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// The id of what it is about beside these; empty where there is one mail of them a day.
    pub about: String,
    /// The recipient's address.
    pub address: String,
    /// Subject.
    pub subject: String,
    /// The whole message; `None` where it is composed later, from its contents.
    pub body: Option<Vec<u8>>,
    /// When it is queued.
    pub queued_at: DateTime<Utc>,
    /// What it is composed from, as JSON, so that it can be composed anew.
    pub contents: Option<String>,
    /// The digests that must be sent first.
    pub waits_for: Vec<String>,
    /// Seconds to wait after those were sent.
    pub hold_s: u32,
}

impl NewMail {
    /// What makes it a mail that is made once.
    #[must_use]
    pub fn identity(&self) -> MailIdentity {
        MailIdentity {
            kind: self.kind,
            person: self.person.clone(),
            adviser: self.adviser.clone(),
            day: self.day,
            about: self.about.clone(),
        }
    }
}

/// Queues a mail.
///
/// # Errors
/// A failing statement, such as a second mail of one identity.
pub fn queue(connection: &Connection, mail: &NewMail) -> Result<(), StoreError> {
    connection
        .prepare_cached(
            "INSERT INTO outbox (message_id, kind, person, adviser, day, about, address, subject, queued_at,
               composed, hold_s, touched, state, attempts, refusals, doubtful, next_try_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, 0, 'queued', 0, 0, 0, ?9)",
        )?
        .execute(params![
            mail.message_id,
            mail.kind.name(),
            mail.person.as_str(),
            mail.adviser.as_ref().map_or("", PersonId::as_str),
            mail.day.to_string(),
            mail.about,
            mail.address,
            mail.subject,
            mail.queued_at.timestamp(),
            mail.body.is_some(),
            mail.hold_s,
        ])?;
    connection
        .prepare_cached(
            "INSERT INTO mail_content (message_id, contents, body) VALUES (?1, ?2, ?3)",
        )?
        .execute(params![mail.message_id, mail.contents, mail.body])?;
    let mut wait =
        connection.prepare_cached("INSERT INTO outbox_wait (mail, digest) VALUES (?1, ?2)")?;
    for digest in &mail.waits_for {
        wait.execute([&mail.message_id, digest])?;
    }
    Ok(())
}
