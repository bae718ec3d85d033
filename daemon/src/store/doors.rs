//! Who may come in at the page: passwords, codes to set them with, and sessions. Of none is more kept than a hash.

use chrono::{DateTime, TimeDelta, Utc};
use duskflight_core::id::PersonId;
use rusqlite::{Connection, OptionalExtension, params};

use super::{StoreError, instant, parsed, text};
use crate::clock::SLACK;

/// A code is good for so long.
pub const CODE_KEPT: TimeDelta = TimeDelta::days(1);
/// A session ends when it was not used for so long.
pub const SESSION_UNUSED: TimeDelta = TimeDelta::days(30);
/// A session ends so long after its sign-in, however much it is used.
pub const SESSION_LASTS: TimeDelta = TimeDelta::days(180);
/// A use is noted so often: a page is no reason to write.
const USE_NOTED: TimeDelta = TimeDelta::hours(1);

/// SHA-256 of a code or of a session's token.
pub type Hash = [u8; 32];

/// How somebody comes in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Key {
    /// Who.
    pub person: PersonId,
    /// When their password was set.
    pub set_at: DateTime<Utc>,
    /// When they signed in last.
    pub signed_in_at: Option<DateTime<Utc>>,
}

/// Keeps the hash of a person's new code, good from now on, in the place of the one before.
///
/// # Errors
/// A failing statement.
pub fn set_code(
    connection: &Connection,
    person: &PersonId,
    hash: &Hash,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection.execute(
        "INSERT OR REPLACE INTO page_code VALUES (?1, ?2, ?3)",
        params![person.as_str(), hash, now.timestamp()],
    )?;
    Ok(())
}

/// Whether a code is a person's, and good.
///
/// # Errors
/// A failing statement.
pub fn is_code_good(
    connection: &Connection,
    person: &PersonId,
    hash: &Hash,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let from = (now - CODE_KEPT).timestamp();
    let good = connection
        .prepare_cached(
            "SELECT EXISTS (SELECT 1 FROM page_code
               WHERE person = ?1 AND hash = ?2 AND made_at > ?3 AND made_at <= ?4)",
        )?
        .query_row(
            params![person.as_str(), hash, from, (now + SLACK).timestamp()],
            |row| row.get(0),
        )?;
    Ok(good)
}

/// Sets a person's password with a code, which is used up by that, and ends all their sessions. `false`: the code is not
/// good, and nothing was done.
///
/// # Errors
/// A failing statement.
pub fn set_password(
    connection: &Connection,
    person: &PersonId,
    code: &Hash,
    password: &str,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    if !is_code_good(connection, person, code, now)? {
        return Ok(false);
    }
    connection.execute("DELETE FROM page_code WHERE person = ?1", [person.as_str()])?;
    connection.execute(
        "INSERT INTO page_password VALUES (?1, ?2, ?3, NULL)
         ON CONFLICT (person) DO UPDATE SET hash = excluded.hash, set_at = excluded.set_at",
        params![person.as_str(), password, now.timestamp()],
    )?;
    end_sessions(connection, Some(person))?;
    Ok(true)
}

/// The hash of a person's password, where they have one.
///
/// # Errors
/// A failing statement.
pub fn password(connection: &Connection, person: &PersonId) -> Result<Option<String>, StoreError> {
    Ok(connection
        .prepare_cached("SELECT hash FROM page_password WHERE person = ?1")?
        .query_row([person.as_str()], |row| row.get(0))
        .optional()?)
}

/// Who has a password, by their ids.
///
/// # Errors
/// A failing statement, or a stored value that is none.
pub fn keys(connection: &Connection) -> Result<Vec<Key>, StoreError> {
    let mut statement = connection
        .prepare_cached("SELECT person, set_at, signed_in_at FROM page_password ORDER BY person")?;
    let mut rows = statement.query([])?;
    let mut keys = Vec::new();
    while let Some(row) = rows.next()? {
        let signed_in_at: Option<i64> = row.get(2)?;
        keys.push(Key {
            person: parsed("person", text(row, 0)?)?,
            set_at: instant(row.get(1)?)?,
            signed_in_at: signed_in_at.map(instant).transpose()?,
        });
    }
    Ok(keys)
}

/// Begins a session of somebody who has just signed in.
///
/// # Errors
/// A failing statement.
pub fn begin_session(
    connection: &Connection,
    person: &PersonId,
    hash: &Hash,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection.execute(
        "INSERT INTO page_session VALUES (?1, ?2, ?3, ?3)",
        params![hash, person.as_str(), now.timestamp()],
    )?;
    connection.execute(
        "UPDATE page_password SET signed_in_at = ?2 WHERE person = ?1",
        params![person.as_str(), now.timestamp()],
    )?;
    Ok(())
}

/// Whose session it is, unless it has ended, and whether its use is to be noted.
///
/// # Errors
/// A failing statement, or a stored value that is none.
pub fn session(
    connection: &Connection,
    hash: &Hash,
    now: DateTime<Utc>,
) -> Result<Option<(PersonId, bool)>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT person, used_at FROM page_session
         WHERE hash = ?1 AND begun_at > ?2 AND used_at > ?3 AND used_at <= ?4",
    )?;
    let mut rows = statement.query(params![
        hash,
        (now - SESSION_LASTS).timestamp(),
        (now - SESSION_UNUSED).timestamp(),
        // One of a clock that was ahead would last too long.
        (now + SLACK).timestamp()
    ])?;
    let Some(row) = rows.next()? else {
        return Ok(None);
    };
    let used_at = instant(row.get(1)?)?;
    Ok(Some((
        parsed("person", text(row, 0)?)?,
        used_at + USE_NOTED < now,
    )))
}

/// Notes that a session is used.
///
/// # Errors
/// A failing statement.
pub fn note_use(
    connection: &Connection,
    hash: &Hash,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    connection.execute(
        "UPDATE page_session SET used_at = ?2 WHERE hash = ?1",
        params![hash, now.timestamp()],
    )?;
    Ok(())
}

/// Ends one session.
///
/// # Errors
/// A failing statement.
pub fn end_session(connection: &Connection, hash: &Hash) -> Result<(), StoreError> {
    connection.execute("DELETE FROM page_session WHERE hash = ?1", [hash])?;
    Ok(())
}

/// Ends all sessions of a person, or of everybody, and gives how many there were.
///
/// # Errors
/// A failing statement.
pub fn end_sessions(
    connection: &Connection,
    person: Option<&PersonId>,
) -> Result<usize, StoreError> {
    let person = person.map(PersonId::as_str);
    Ok(connection.execute(
        "DELETE FROM page_session WHERE ?1 IS NULL OR person = ?1",
        [person],
    )?)
}

/// Ends all sessions of who is not among those declared.
///
/// # Errors
/// A failing statement.
pub fn end_sessions_but_of(
    connection: &Connection,
    declared: &[PersonId],
) -> Result<(), StoreError> {
    let mut statement = connection.prepare("SELECT DISTINCT person FROM page_session")?;
    let people = statement.query_map([], |row| row.get::<_, String>(0))?;
    let people: Vec<String> = people.collect::<Result<_, _>>()?;
    let is_gone = |id: &&String| !declared.iter().any(|person| person.as_str() == *id);
    for person in people.iter().filter(is_gone) {
        connection.execute("DELETE FROM page_session WHERE person = ?1", [person])?;
    }
    Ok(())
}

/// How many sessions a person has.
///
/// # Errors
/// A failing statement.
pub fn sessions_of(connection: &Connection, person: &PersonId) -> Result<u32, StoreError> {
    Ok(connection.query_row(
        "SELECT count(*) FROM page_session WHERE person = ?1",
        [person.as_str()],
        |row| row.get(0),
    )?)
}

/// Forgets sessions and codes that have ended by themselves.
pub(super) fn prune(connection: &Connection, now: DateTime<Utc>) -> Result<(), StoreError> {
    connection.execute(
        "DELETE FROM page_session WHERE begun_at <= ?1 OR used_at <= ?2",
        [
            (now - SESSION_LASTS).timestamp(),
            (now - SESSION_UNUSED).timestamp(),
        ],
    )?;
    connection.execute(
        "DELETE FROM page_code WHERE made_at <= ?1",
        [(now - CODE_KEPT).timestamp()],
    )?;
    Ok(())
}

#[cfg(test)]
mod tests;
