//! Mails to look at: what became of each, and what it said.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailKind, MailState};
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::{StoreError, day, instant, parsed, text};

/// A mail to look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownMail {
    /// Message-ID without its brackets.
    pub id: String,
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// Its subject.
    pub subject: String,
    /// What became of it.
    pub state: MailState,
    /// When it was sent.
    pub sent_at: Option<DateTime<Utc>>,
    /// What the server said: as it took it, or why it did not.
    pub server: Option<String>,
}

/// A mail with its bytes, where they are still kept.
pub type WholeMail = (ShownMail, Option<Vec<u8>>);

/// Whose mails are looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Of {
    /// Everybody's.
    All,
    /// Those to somebody, and those about the blocks that they advise on.
    Adviser(PersonId),
    /// Those to somebody that have left.
    Reader(PersonId),
}

impl Of {
    /// A condition on the outbox, with its person as `?1`.
    const fn condition(&self) -> &'static str {
        match self {
            Self::All => "?1 = ?1",
            Self::Adviser(_) => "(person = ?1 OR adviser = ?1)",
            Self::Reader(_) => "(person = ?1 AND state = 'sent')",
        }
    }

    fn person(&self) -> &str {
        match self {
            Self::All => "",
            Self::Adviser(person) | Self::Reader(person) => person.as_str(),
        }
    }
}

const COLUMNS: &str = "trim(message_id, '<>') AS id, kind, person, day, subject, state, sent_at, \
                       coalesce(answer, last_error) AS server";

/// The newest mails up to a civil day, newest first.
///
/// # Errors
/// A failing statement.
pub fn newest(
    connection: &Connection,
    of: &Of,
    up_to: NaiveDate,
    most: u32,
) -> Result<Vec<ShownMail>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM outbox WHERE {} AND day <= ?2 ORDER BY day DESC, place DESC LIMIT ?3",
        of.condition()
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query(params![of.person(), up_to.to_string(), most])?;
    let mut mails = Vec::new();
    while let Some(row) = rows.next()? {
        mails.push(read(row)?);
    }
    Ok(mails)
}

/// One mail, by its Message-ID without brackets, with the whole message where it is still kept.
///
/// # Errors
/// A failing statement.
pub fn one(connection: &Connection, of: &Of, id: &str) -> Result<Option<WholeMail>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS}, (SELECT body FROM mail_content AS kept WHERE kept.message_id = outbox.message_id) AS body
         FROM outbox WHERE {} AND message_id = '<' || ?2 || '>'",
        of.condition()
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let found = statement
        .query_row(params![of.person(), id], |row| {
            let body: Option<Vec<u8>> = row.get("body")?;
            Ok(read(row).map(|mail| (mail, body)))
        })
        .optional()?;
    found.transpose()
}

fn read(row: &Row<'_>) -> Result<ShownMail, StoreError> {
    let sent_at: Option<i64> = row.get("sent_at")?;
    Ok(ShownMail {
        id: row.get("id")?,
        kind: parsed("kind", text(row, "kind")?)?,
        person: parsed("person", text(row, "person")?)?,
        day: day(text(row, "day")?)?,
        subject: row.get("subject")?,
        state: parsed("state", text(row, "state")?)?,
        sent_at: sent_at.map(instant).transpose()?,
        server: row.get("server")?,
    })
}
