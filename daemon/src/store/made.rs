//! Mails that were made before, as the night's plan asks for them.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use duskflight_core::id::PersonId;
use duskflight_core::ledger::MailIdentity;
use rusqlite::Connection;

use super::{StoreError, day, parsed, text};

/// The mails of a civil day, but for those that tell nothing, whatever became of them and under whatever Message-ID, which changes
/// with the sender's domain.
///
/// # Errors
/// A failing statement.
pub fn of_day(
    connection: &Connection,
    day: NaiveDate,
) -> Result<BTreeSet<MailIdentity>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT kind, person, adviser, about FROM outbox WHERE day = ?1 AND kind NOT IN ('test', 'operator')",
    )?;
    let mut rows = statement.query([day.to_string()])?;
    let mut made = BTreeSet::new();
    while let Some(row) = rows.next()? {
        let adviser = match text(row, "adviser")? {
            "" => None,
            adviser => Some(parsed("adviser", adviser)?),
        };
        made.insert(MailIdentity {
            kind: parsed("kind", text(row, "kind")?)?,
            person: parsed("person", text(row, "person")?)?,
            adviser,
            day,
            about: row.get("about")?,
        });
    }
    Ok(made)
}

/// The newest civil day before another of which a person was sent a digest, or one waits for them.
///
/// # Errors
/// A failing statement.
pub fn newest_digest(
    connection: &Connection,
    person: &PersonId,
    before: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT day FROM outbox WHERE person = ?1 AND day < ?2 AND kind = 'digest'
           AND state NOT IN ('failed', 'expired', 'folded') ORDER BY day DESC LIMIT 1",
    )?;
    let mut rows = statement.query([person.as_str(), &before.to_string()])?;
    let newest = rows.next()?;
    newest.map(|row| day(text(row, "day")?)).transpose()
}

/// The newest civil day before another for which a digest was made at all, whatever became of it.
///
/// # Errors
/// A failing statement.
pub fn newest_day(
    connection: &Connection,
    before: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let newest: Option<String> = connection
        .prepare_cached("SELECT max(day) FROM outbox WHERE kind = 'digest' AND day < ?1")?
        .query_row([before.to_string()], |row| row.get(0))?;
    newest.map(|text| day(&text)).transpose()
}
