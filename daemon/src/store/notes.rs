//! Field notes and their history.

use std::ops::Range;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::BlockId;
use duskflight_core::trapping::{Note, NoteKind};
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::visits::{Applied, Entry, entered_before};
use super::{StoreError, day};

/// What a kind of note carries, as JSON.
fn carried(kind: &NoteKind) -> Option<String> {
    let value = serde_json::to_value(kind).ok()?;
    value.get("value").map(ToString::to_string)
}

/// Reads a kind of note from its word and what it carries.
fn kind(word: &str, value: Option<&str>) -> Result<NoteKind, StoreError> {
    let carried = value.map(serde_json::from_str::<serde_json::Value>);
    let whole = match carried.transpose() {
        Ok(Some(value)) => serde_json::json!({ "kind": word, "value": value }),
        Ok(None) => serde_json::json!({ "kind": word }),
        Err(_) => serde_json::Value::Null,
    };
    serde_json::from_value(whole).map_err(|_| StoreError::Value {
        column: "kind",
        value: format!("{word} {}", value.unwrap_or_default()),
    })
}

/// Applies one note.
///
/// # Errors
/// A failing statement.
pub fn apply(connection: &Connection, note: &Note, entry: &Entry) -> Result<Applied, StoreError> {
    let word = note.kind.name();
    let variety = note.variety.as_deref().unwrap_or_default();
    let key = params![note.block.as_str(), variety, word, note.date.to_string()];
    let stored = connection
        .prepare_cached(&format!(
            "SELECT {COLUMNS} FROM note WHERE block = ?1 AND variety = ?2 AND kind = ?3 AND day = ?4"
        ))?
        .query_row(key, |row| Ok(read(row)))
        .optional()?
        .transpose()?;
    let same = |stored: &Note| stored.kind == note.kind && stored.text == note.text;
    if stored.as_ref().is_some_and(same) {
        return Ok(Applied::Unchanged);
    }
    if entered_before(connection, "note_history", &entry.id)? {
        return Ok(Applied::Superseded);
    }
    if stored.is_some() {
        connection
            .prepare_cached(
                "INSERT INTO note_history SELECT *, ?5 FROM note
                 WHERE block = ?1 AND variety = ?2 AND kind = ?3 AND day = ?4",
            )?
            .execute(params![
                note.block.as_str(),
                variety,
                word,
                note.date.to_string(),
                entry.at.timestamp(),
            ])?;
    }
    connection
        .prepare_cached(
            "INSERT OR REPLACE INTO note VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        )?
        .execute(params![
            note.block.as_str(),
            variety,
            word,
            note.date.to_string(),
            carried(&note.kind),
            note.text,
            entry.at.timestamp(),
            entry.by,
            entry.via,
            entry.id,
        ])?;
    Ok(if stored.is_some() {
        Applied::Changed
    } else {
        Applied::Added
    })
}

const COLUMNS: &str = "block, variety, kind, day, value, note, entered_by";

fn read(row: &Row<'_>) -> Result<Note, StoreError> {
    let block: String = row.get(0)?;
    let variety: String = row.get(1)?;
    let word: String = row.get(2)?;
    let value: Option<String> = row.get(4)?;
    Ok(Note {
        block: BlockId::new(&block).map_err(|_| StoreError::Value {
            column: "block",
            value: block,
        })?,
        variety: (!variety.is_empty()).then_some(variety),
        date: day(row.get_ref(3)?.as_str().map_err(rusqlite::Error::from)?)?,
        kind: kind(&word, value.as_deref())?,
        text: row.get(5)?,
        by: row.get(6)?,
    })
}

/// All notes up to and including a civil day, oldest first.
///
/// # Errors
/// A failing statement.
pub fn up_to(connection: &Connection, as_of: NaiveDate) -> Result<Vec<Note>, StoreError> {
    let sql =
        format!("SELECT {COLUMNS} FROM note WHERE day <= ?1 ORDER BY day, block, variety, kind");
    let mut statement = connection.prepare_cached(&sql)?;
    let rows = statement.query_map([as_of.to_string()], |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

/// Notes entered or changed in a stretch of time, oldest first.
///
/// # Errors
/// A failing statement.
pub fn entered(
    connection: &Connection,
    when: Range<DateTime<Utc>>,
) -> Result<Vec<Note>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM note WHERE entered_at >= ?1 AND entered_at < ?2
         ORDER BY day, block, variety, kind"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let when = params![when.start.timestamp(), when.end.timestamp()];
    let rows = statement.query_map(when, |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}
