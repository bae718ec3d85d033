//! Field notes and their history.

use std::ops::{Range, RangeInclusive};

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::BlockId;
use duskflight_core::trapping::{Note, NoteKind};
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::entries::{Applied, Entry, Past, Withdrawal};
use super::visits::past;
use super::{StoreError, day, instant};

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
    let key = Key::of(note);
    let stored = connection
        .prepare_cached(&format!("SELECT {COLUMNS} FROM note WHERE {OF_KEY}"))?
        .query_row(key.params(), |row| Ok(read(row)))
        .optional()?
        .transpose()?;
    let same = |stored: &Note| stored.kind == note.kind && stored.text == note.text;
    if stored.as_ref().is_some_and(same) {
        return Ok(Applied::Unchanged);
    }
    if entry.again {
        return Ok(Applied::Superseded);
    }
    if stored.is_some() {
        retire(connection, &key, entry.at, &entry.by, None)?;
    }
    connection
        .prepare_cached(
            "INSERT OR REPLACE INTO note VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        )?
        .execute(params![
            key.block,
            key.variety,
            key.kind,
            key.day,
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

/// What tells one note from all others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Key {
    block: String,
    /// Empty where it is about the whole block.
    variety: String,
    kind: &'static str,
    day: String,
}

impl Key {
    /// The key of a note.
    #[must_use]
    pub fn of(note: &Note) -> Self {
        Self::new(
            &note.block,
            note.variety.as_deref(),
            note.kind.name(),
            note.date,
        )
    }

    /// The key of a note of a kind's name.
    #[must_use]
    pub fn new(
        block: &BlockId,
        variety: Option<&str>,
        kind: &'static str,
        date: NaiveDate,
    ) -> Self {
        Self {
            block: block.to_string(),
            variety: variety.unwrap_or_default().to_owned(),
            kind,
            day: date.to_string(),
        }
    }

    fn params(&self) -> [&str; 4] {
        [&self.block, &self.variety, self.kind, &self.day]
    }
}

/// Takes one note back, keeping it in the history; gives whether there was one.
///
/// # Errors
/// A failing statement.
pub fn withdraw(
    connection: &Connection,
    key: &Key,
    withdrawal: &Withdrawal,
) -> Result<bool, StoreError> {
    let Withdrawal { at, by, why } = withdrawal;
    retire(connection, key, *at, by, Some(why))?;
    let gone = connection
        .prepare_cached(&format!("DELETE FROM note WHERE {OF_KEY}"))?
        .execute(key.params())?;
    Ok(gone > 0)
}

/// Takes one note back, and lets the one stand again that it had replaced; gives whether there was one.
///
/// # Errors
/// A failing statement.
pub fn put_back(
    connection: &Connection,
    key: &Key,
    withdrawal: &Withdrawal,
) -> Result<bool, StoreError> {
    let replaced: Option<i64> = connection
        .prepare_cached(
            // What stands again after another was taken back has its first entry in the history.
            "WITH now AS (SELECT entered_at, entry_id FROM note
                          WHERE block = ?1 AND variety = ?2 AND kind = ?3 AND day = ?4),
               past AS (SELECT rowid AS place, * FROM note_history
                        WHERE block = ?1 AND variety = ?2 AND kind = ?3 AND day = ?4),
               first AS (SELECT min(place) AS place, min(entered_at) AS at FROM past
                         WHERE entry_id = (SELECT entry_id FROM now))
             SELECT max(old.place) FROM past AS old, now, first
             WHERE old.why IS NULL AND old.entry_id != now.entry_id
               AND old.replaced_at = coalesce(first.at, now.entered_at)
               AND (first.place IS NULL OR old.place < first.place)",
        )?
        .query_row(key.params(), |row| row.get(0))?;
    let gone = withdraw(connection, key, withdrawal)?;
    if let Some(replaced) = replaced.filter(|_| gone) {
        let instead = ALL.replace("entered_at", "?2");
        let sql =
            format!("INSERT INTO note ({ALL}) SELECT {instead} FROM note_history WHERE rowid = ?1");
        connection
            .prepare_cached(&sql)?
            .execute([replaced, withdrawal.at.timestamp()])?;
    }
    Ok(gone)
}

/// Copies the note that stands into the history.
fn retire(
    connection: &Connection,
    key: &Key,
    at: DateTime<Utc>,
    by: &str,
    why: Option<&str>,
) -> Result<(), StoreError> {
    let [block, variety, kind, day] = key.params();
    connection
        .prepare_cached(&format!(
            "INSERT INTO note_history ({ALL}, replaced_at, replaced_by, why)
             SELECT {ALL}, ?5, ?6, ?7 FROM note WHERE {OF_KEY}"
        ))?
        .execute(params![block, variety, kind, day, at.timestamp(), by, why])?;
    Ok(())
}

/// The columns of a record with those of its entry.
const ALL: &str = "block, variety, kind, day, value, note, entered_at, entered_by, via, entry_id";
const OF_KEY: &str = "block = ?1 AND variety = ?2 AND kind = ?3 AND day = ?4";
const COLUMNS: &str = "block, variety, kind, day, value, note, entered_by, entered_at";

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
        entered_at: instant(row.get(7)?)?,
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

/// All notes of a stretch of days, by day, block, variety and kind.
///
/// # Errors
/// A failing statement.
pub fn between(
    connection: &Connection,
    days: RangeInclusive<NaiveDate>,
) -> Result<Vec<Note>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM note WHERE day BETWEEN ?1 AND ?2
         ORDER BY day, block, variety, kind"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let days = [days.start().to_string(), days.end().to_string()];
    let rows = statement.query_map(days, |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

/// Notes as they stood before they were changed or withdrawn, the first replaced first; of one block
/// where it is given.
///
/// # Errors
/// A failing statement.
pub fn history(
    connection: &Connection,
    block: Option<&BlockId>,
) -> Result<Vec<Past<Note>>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS}, via, replaced_at, replaced_by, why FROM note_history
         WHERE ?1 IS NULL OR block = ?1 ORDER BY replaced_at, rowid"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let rows = statement.query_map([block.map(BlockId::as_str)], |row| {
        Ok(read(row).and_then(|note| past(row, note)))
    })?;
    rows.map(|row| row?).collect()
}

/// Notes that were known at the start of a stretch of time and were withdrawn in it, oldest first, as
/// they stood then.
///
/// # Errors
/// A failing statement.
pub fn withdrawn(
    connection: &Connection,
    when: Range<DateTime<Utc>>,
) -> Result<Vec<Note>, StoreError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM note_history AS known
         WHERE entered_at < ?1 AND replaced_at >= ?1 AND replaced_at < ?2
           AND NOT EXISTS (SELECT 1 FROM note WHERE block = known.block AND variety = known.variety
                           AND kind = known.kind AND day = known.day)
         ORDER BY day, block, variety, kind"
    );
    let mut statement = connection.prepare_cached(&sql)?;
    let when = [when.start.timestamp(), when.end.timestamp()];
    let rows = statement.query_map(when, |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

#[cfg(test)]
mod tests {
    use duskflight_core::trapping::StartByHand;

    use super::*;
    use crate::store::sample::{at, column, records};

    fn april(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 4, day).unwrap()
    }

    fn enter(connection: &Connection, start: StartByHand, hours: i64) -> Applied {
        let note = Note {
            block: BlockId::new("home").unwrap(),
            variety: None,
            date: april(20),
            kind: NoteKind::EggLayingStart(start),
            text: "own book".into(),
            by: "ada".into(),
            entered_at: at(hours),
        };
        let entry = Entry {
            at: at(hours),
            by: "ada".into(),
            via: "test".into(),
            id: format!("{hours}"),
            again: false,
        };
        apply(connection, &note, &entry).unwrap()
    }

    #[test]
    fn a_start_by_hand_is_stored_as_the_plain_day_unless_a_range_was_entered() {
        let folder = tempfile::tempdir().unwrap();
        let connection = records(folder.path());
        let check = |start: StartByHand, hours, value: &str| {
            assert_ne!(enter(&connection, start, hours), Applied::Unchanged);
            assert_eq!(enter(&connection, start, hours + 9), Applied::Unchanged);
            assert_eq!(column(&connection, "SELECT value FROM note"), [value]);
            let read = up_to(&connection, april(30)).unwrap();
            assert_eq!(read[0].kind, NoteKind::EggLayingStart(start));
            // What changed nothing was not entered again.
            assert_eq!(read[0].entered_at, at(hours));
        };
        check(april(12).into(), 0, "\"2022-04-12\"");
        let within = StartByHand {
            day: april(12),
            within: Some([april(8), april(14)]),
        };
        let value = r#"{"earliest":"2022-04-08","latest":"2022-04-14","likely":"2022-04-12"}"#;
        check(within, 20, value);
    }
}
