//! A copy of the records in memory, to tell nights again that were told.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::ledger::MailState;
use rusqlite::Connection;

use super::{StoreError, instant, parsed, text};

/// What became of a mail.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Fate {
    /// Its state.
    pub state: MailState,
    /// When it was sent.
    pub sent: Option<DateTime<Utc>>,
}

/// Forgets what was told, queued and done from a civil day on; earlier mails count as sent. For a copy only.
///
/// # Errors
/// A failing statement.
pub fn forget_from(copy: &Connection, from: NaiveDate) -> Result<(), StoreError> {
    let from = from.to_string();
    for forgotten in [
        "DELETE FROM told WHERE day >= ?1",
        "DELETE FROM outbox_wait WHERE mail IN (SELECT message_id FROM outbox WHERE day >= ?1)
           OR digest IN (SELECT message_id FROM outbox WHERE day >= ?1)",
        "DELETE FROM mail_content WHERE message_id IN (SELECT message_id FROM outbox WHERE day >= ?1)",
        "DELETE FROM outbox WHERE day >= ?1",
        "DELETE FROM job_run WHERE day >= ?1",
        "UPDATE outbox SET state = 'sent', sent_at = queued_at WHERE state = 'queued' AND day < ?1",
    ] {
        copy.execute(forgotten, [&from])?;
    }
    copy.execute("DELETE FROM mail_trouble", [])?;
    Ok(())
}

/// Lets mails leave without their bytes, which nobody reads. For a copy only.
///
/// # Errors
/// A failing statement.
pub fn need_no_bytes(copy: &Connection) -> Result<(), StoreError> {
    for without in [
        "UPDATE mail_content SET body = x'' WHERE body IS NULL",
        "UPDATE outbox SET composed = 1 WHERE composed = 0",
    ] {
        copy.execute(without, [])?;
    }
    Ok(())
}

/// What became of the mails of a civil day and later ones, by their Message-ID.
///
/// # Errors
/// A failing statement.
pub fn fates_from(
    copy: &Connection,
    from: NaiveDate,
) -> Result<BTreeMap<String, Fate>, StoreError> {
    let mut statement =
        copy.prepare("SELECT message_id, state, sent_at FROM outbox WHERE day >= ?1")?;
    let mut rows = statement.query([from.to_string()])?;
    let mut fates = BTreeMap::new();
    while let Some(row) = rows.next()? {
        let sent: Option<i64> = row.get("sent_at")?;
        let fate = Fate {
            state: parsed("state", text(row, "state")?)?,
            sent: sent.map(instant).transpose()?,
        };
        fates.insert(row.get("message_id")?, fate);
    }
    Ok(fates)
}
