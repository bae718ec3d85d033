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
    /// Those about the blocks that they advise on, and those to them: of news that another adviser may hold, what has left.
    Adviser(PersonId),
    /// Those to somebody that have left.
    Reader(PersonId),
}

impl Of {
    /// A condition on the outbox, with its person as `?1`.
    const fn condition(&self) -> &'static str {
        match self {
            Self::All => "?1 = ?1",
            Self::Adviser(_) => {
                "(adviser = ?1
                  OR (person = ?1 AND (state IN ('sent', 'unknown') OR kind NOT IN ('alert', 'summary')))
                  OR EXISTS (SELECT 1 FROM outbox_wait AS wait JOIN outbox AS digest ON digest.message_id = wait.digest
                              WHERE wait.mail = outbox.message_id AND digest.adviser = ?1))"
            }
            Self::Reader(_) => "(person = ?1 AND state IN ('sent', 'unknown'))",
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

/// The newest mails, newest first.
///
/// # Errors
/// A failing statement.
pub fn newest(connection: &Connection, of: &Of, most: u32) -> Result<Vec<ShownMail>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM outbox WHERE {} ORDER BY day DESC, place DESC LIMIT ?2",
        of.condition()
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query(params![of.person(), most])?;
    let mut mails = Vec::new();
    while let Some(row) = rows.next()? {
        mails.push(read(row)?);
    }
    Ok(mails)
}

/// The newest day of which news has left to somebody.
///
/// # Errors
/// A failing statement, or a stored day that is none.
pub fn newest_news(
    connection: &Connection,
    person: &PersonId,
) -> Result<Option<NaiveDate>, StoreError> {
    let newest: Option<String> = connection
        .prepare_cached(
            "SELECT max(day) FROM outbox
              WHERE person = ?1 AND state IN ('sent', 'unknown') AND kind IN ('alert', 'letter', 'summary')",
        )?
        .query_row([person.as_str()], |row| row.get(0))?;
    newest.as_deref().map(day).transpose()
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Store;
    use crate::store::outbox::{self, NewMail};

    fn person(id: &str) -> PersonId {
        PersonId::new(id).unwrap()
    }

    fn at() -> DateTime<Utc> {
        DateTime::from_timestamp(1_655_730_000, 0).unwrap()
    }

    fn mail(
        id: &str,
        kind: MailKind,
        to: &str,
        adviser: Option<&str>,
        waits_for: &[&str],
    ) -> NewMail {
        NewMail {
            message_id: format!("<{id}>"),
            kind,
            person: person(to),
            adviser: adviser.map(person),
            day: NaiveDate::from_ymd_opt(2022, 6, 20).unwrap(),
            address: format!("{to}@test.example"),
            subject: id.to_owned(),
            about: String::new(),
            body: Some(Vec::new()),
            queued_at: at(),
            contents: None,
            waits_for: waits_for.iter().map(|id| format!("<{id}>")).collect(),
            hold_s: 3600,
        }
    }

    /// Ada and Bo advise. Gil has blocks of both, and Bo owns one that Ada advises on.
    fn queue(c: &Connection) -> Result<(), StoreError> {
        for mail in [
            mail("to-ada", MailKind::Digest, "ada", Some("ada"), &[]),
            mail("to-bo", MailKind::Digest, "bo", Some("bo"), &[]),
            mail("to-gil", MailKind::Alert, "gil", Some("ada"), &["to-ada"]),
            mail("both", MailKind::Summary, "gil", None, &["to-ada", "to-bo"]),
            mail(
                "beside",
                MailKind::Alert,
                "hal",
                Some("ada"),
                &["to-ada", "to-bo"],
            ),
            mail("owned", MailKind::Alert, "bo", Some("ada"), &["to-ada"]),
            mail("round", MailKind::Round, "gil", Some("ada"), &[]),
        ] {
            outbox::queue(c, &mail)?;
        }
        Ok(())
    }

    #[test]
    fn advisers_see_what_is_about_their_blocks_and_readers_what_has_left() {
        let records = Store::in_memory().unwrap();
        let looked = records.write(|t| {
            queue(t)?;
            let seen = |of: &Of| -> Result<Vec<String>, StoreError> {
                let mut ids: Vec<String> =
                    newest(t, of, 20)?.into_iter().map(|mail| mail.id).collect();
                ids.sort();
                for id in &ids {
                    assert!(one(t, of, id)?.is_some(), "{id} is listed and not shown");
                }
                Ok(ids)
            };
            let ada = ["beside", "both", "owned", "round", "to-ada", "to-gil"];
            assert_eq!(seen(&Of::Adviser(person("ada")))?, ada);
            let bo = Of::Adviser(person("bo"));
            assert_eq!(seen(&bo)?, ["beside", "both", "to-bo"]);
            let gil = Of::Reader(person("gil"));
            assert_eq!(seen(&gil)?, [""; 0]);
            assert_eq!(seen(&Of::All)?.len(), 7);
            for id in ["<round>", "<owned>"] {
                outbox::mark_sent(t, id, "taken", at())?;
            }
            assert_eq!(seen(&gil)?, ["round"]);
            assert_eq!(seen(&bo)?, ["beside", "both", "owned", "to-bo"]);
            assert_eq!(newest_news(t, &person("gil"))?, None, "a round is no news");
            let day = NaiveDate::from_ymd_opt(2022, 6, 20);
            assert_eq!(newest_news(t, &person("bo"))?, day);
            Ok::<_, StoreError>(())
        });
        let runtime = tokio::runtime::Builder::new_current_thread()
            .build()
            .unwrap();
        runtime.block_on(looked).unwrap();
    }
}
