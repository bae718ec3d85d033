//! What estimates of egg-laying starts came to that stand still. A row that cannot be read any more is none: it is
//! worked out again.

use std::collections::BTreeMap;

use duskflight_core::id::{GroupId, InsectId};
use duskflight_core::season::KeptStarts;
use duskflight_core::trapping::KeptStart;
use rusqlite::{Connection, Row, params};

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
    let mut rows = statement.query(params![insect.as_str(), season])?;
    let mut kept = KeptStarts::new();
    while let Some(row) = rows.next()? {
        kept.extend(readable(row)?);
    }
    Ok(kept)
}

/// Those of an insect, by season.
///
/// # Errors
/// A failing statement.
pub fn of_all_seasons(
    connection: &Connection,
    insect: &InsectId,
) -> Result<BTreeMap<i32, KeptStarts>, StoreError> {
    let mut statement = connection
        .prepare_cached("SELECT start_group, kept, season FROM kept_start WHERE insect = ?1")?;
    let mut rows = statement.query([insect.as_str()])?;
    let mut kept: BTreeMap<i32, KeptStarts> = BTreeMap::new();
    while let Some(row) = rows.next()? {
        kept.entry(row.get(2)?).or_default().extend(readable(row)?);
    }
    Ok(kept)
}

/// A row of the columns start_group, kept, where it can be read.
fn readable(row: &Row<'_>) -> Result<Option<(GroupId, KeptStart)>, StoreError> {
    let (group, text): (String, String) = (row.get(0)?, row.get(1)?);
    let group = GroupId::new(&group).ok();
    Ok(group.zip(serde_json::from_str(&text).ok()))
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

/// Removes those of seasons up to one.
pub(super) fn prune(connection: &Connection, up_to: i32) -> Result<usize, StoreError> {
    Ok(connection.execute("DELETE FROM kept_start WHERE season <= ?1", [up_to])?)
}
