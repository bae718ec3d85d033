//! What estimates of egg-laying starts came to that stand still. A row that cannot be read any more is none: it is
//! worked out again.

use duskflight_core::id::{GroupId, InsectId};
use duskflight_core::season::KeptStarts;
use rusqlite::{Connection, params};

use super::StoreError;

/// Those of an insect and a season.
///
/// # Errors
/// A failing statement.
pub fn read(
    connection: &Connection,
    insect: &InsectId,
    season: i32,
) -> Result<KeptStarts, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT start_group, kept FROM kept_start WHERE insect = ?1 AND season = ?2",
    )?;
    let rows = statement.query_map(params![insect.as_str(), season], |row| {
        Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?))
    })?;
    let mut kept = KeptStarts::new();
    for row in rows {
        let (group, text) = row?;
        let readable = GroupId::new(&group)
            .ok()
            .zip(serde_json::from_str(&text).ok());
        kept.extend(readable);
    }
    Ok(kept)
}

/// Keeps some; each takes the place of what was kept of its group before.
///
/// # Errors
/// A failing statement.
pub fn keep(
    connection: &Connection,
    insect: &InsectId,
    season: i32,
    starts: &KeptStarts,
) -> Result<(), StoreError> {
    let mut statement =
        connection.prepare_cached("INSERT OR REPLACE INTO kept_start VALUES (?1, ?2, ?3, ?4)")?;
    for (group, start) in starts {
        let text = serde_json::to_string(start).expect("ids, days and finite numbers are JSON");
        statement.execute(params![insect.as_str(), group.as_str(), season, text])?;
    }
    Ok(())
}
