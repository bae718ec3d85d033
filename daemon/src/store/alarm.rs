//! What fails again and again: counted, so that somebody is told once, and once when it works.

use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, params};

use super::{StoreError, instant};

/// The mailbox that answers come to, as a matter.
pub const MAILBOX: &str = "mailbox";

/// So many failures in a row are told.
const TOLD_FROM: u32 = 3;

/// Notes that a matter failed on an occasion, such as a civil day, that counts once. Gives since when it fails where
/// that is to be told now.
///
/// # Errors
/// A failing statement.
pub fn failed(
    connection: &Connection,
    matter: &str,
    occasion: &str,
    now: DateTime<Utc>,
) -> Result<Option<DateTime<Utc>>, StoreError> {
    connection
        .prepare_cached(
            "INSERT INTO alarm VALUES (?1, ?3, 1, ?2, 0) ON CONFLICT (matter) DO UPDATE
             SET failures = failures + 1, occasion = ?2 WHERE occasion != ?2",
        )?
        .execute(params![matter, occasion, now.timestamp()])?;
    let since: Option<i64> = connection
        .prepare_cached(
            "UPDATE alarm SET told = 1 WHERE matter = ?1 AND told = 0 AND failures >= ?2 RETURNING since",
        )?
        .query_row(params![matter, TOLD_FROM], |row| row.get(0))
        .optional()?;
    since.map(instant).transpose()
}

/// Notes a matter that is told at once. Gives the instant where it was not told before.
///
/// # Errors
/// A failing statement.
pub fn raised(
    connection: &Connection,
    matter: &str,
    now: DateTime<Utc>,
) -> Result<Option<DateTime<Utc>>, StoreError> {
    let new = connection
        .prepare_cached(
            "INSERT INTO alarm VALUES (?1, ?2, 1, '', 1) ON CONFLICT (matter) DO NOTHING",
        )?
        .execute(params![matter, now.timestamp()])?;
    Ok((new > 0).then_some(now))
}

/// Notes that a matter works. Gives since when it had failed where that was told.
///
/// # Errors
/// A failing statement.
pub fn works(connection: &Connection, matter: &str) -> Result<Option<DateTime<Utc>>, StoreError> {
    let gone: Option<(i64, bool)> = connection
        .prepare_cached("DELETE FROM alarm WHERE matter = ?1 RETURNING since, told")?
        .query_row([matter], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let told = gone.filter(|(_, told)| *told);
    told.map(|(since, _)| instant(since)).transpose()
}

/// Since when a matter fails of which somebody was told.
///
/// # Errors
/// A failing statement.
pub fn stands(connection: &Connection, matter: &str) -> Result<Option<DateTime<Utc>>, StoreError> {
    let since: Option<i64> = connection
        .prepare_cached("SELECT since FROM alarm WHERE matter = ?1 AND told = 1")?
        .query_row([matter], |row| row.get(0))
        .optional()?;
    since.map(instant).transpose()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::sample::records;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_655_730_000 + hours * 3600, 0).unwrap()
    }

    #[test]
    fn the_third_failure_in_a_row_is_told_once_and_so_is_that_it_works() {
        let dir = tempfile::tempdir().unwrap();
        let c = records(dir.path());
        let failed = |occasion: &str, hour| failed(&c, "station yard", occasion, at(hour)).unwrap();
        assert_eq!(failed("06-20", 0), None);
        assert_eq!(failed("06-20", 1), None, "one day counts once");
        assert_eq!(failed("06-20", 2), None);
        assert_eq!(failed("06-21", 24), None);
        assert_eq!(failed("06-22", 48), Some(at(0)));
        assert_eq!(failed("06-23", 72), None, "told once");
        assert_eq!(works(&c, "station yard").unwrap(), Some(at(0)));
        assert_eq!(works(&c, "station yard").unwrap(), None);
        assert_eq!(failed("06-24", 96), None);
        assert_eq!(works(&c, "station yard").unwrap(), None, "it was not told");
    }
}
