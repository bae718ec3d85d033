//! What people decided about single temperatures, and its history.

use std::ops::Range;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::StationId;
use duskflight_core::temperature::{Temperature, Unit};
use duskflight_core::weather::{ByHand, Decision, Element, is_plausible};
use rusqlite::{Connection, Row, params};

use super::{StoreError, day};

/// A decision as people read it back.
#[derive(Debug, Clone, PartialEq)]
pub struct Decided {
    /// The station.
    pub station: String,
    /// The civil day the temperature is of.
    pub date: NaiveDate,
    /// Which of the day's temperatures.
    pub element: Element,
    /// Whether the value was put right, not only vouched for.
    pub corrected: bool,
    /// The value, in `unit`.
    pub value: f64,
    /// Its unit.
    pub unit: Unit,
    /// The reason given.
    pub why: String,
    /// Who decided.
    pub by: String,
}

/// Enters a decision; an earlier one about the same temperature goes to the history.
///
/// # Errors
/// A failing statement.
pub fn enter(
    connection: &Connection,
    decided: &Decided,
    via: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    withdraw(
        connection,
        &decided.station,
        decided.date,
        decided.element,
        &decided.by,
        now,
    )?;
    connection
        .prepare_cached(
            "INSERT INTO temperature_decision VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        )?
        .execute(params![
            decided.station,
            decided.date.to_string(),
            decided.element.name(),
            word(decided.corrected),
            decided.value,
            decided.unit.code(),
            decided.why,
            now.timestamp(),
            decided.by,
            via,
        ])?;
    Ok(())
}

/// Takes a decision back, keeping it in the history; gives whether there was one.
///
/// # Errors
/// A failing statement.
pub fn withdraw(
    connection: &Connection,
    station: &str,
    date: NaiveDate,
    element: Element,
    by: &str,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let date = date.to_string();
    connection
        .prepare_cached(
            "INSERT INTO temperature_decision_history SELECT *, ?4, ?5 FROM temperature_decision
             WHERE station = ?1 AND day = ?2 AND element = ?3",
        )?
        .execute(params![station, date, element.name(), now.timestamp(), by])?;
    let gone = connection
        .prepare_cached(
            "DELETE FROM temperature_decision WHERE station = ?1 AND day = ?2 AND element = ?3",
        )?
        .execute(params![station, date, element.name()])?;
    Ok(gone > 0)
}

const fn word(corrected: bool) -> &'static str {
    if corrected { "corrected" } else { "confirmed" }
}

/// Every decision about days before a civil day, oldest day first.
///
/// # Errors
/// A failing statement.
pub fn before(connection: &Connection, as_of: NaiveDate) -> Result<Vec<Decided>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT station, day, element, decision, value, unit, why, entered_by
         FROM temperature_decision WHERE day < ?1 ORDER BY day, station, element",
    )?;
    let rows = statement.query_map([as_of.to_string()], |row| Ok(read(row)))?;
    rows.map(|row| row?).collect()
}

fn read(row: &Row<'_>) -> Result<Decided, StoreError> {
    let element: String = row.get(2)?;
    let unit: String = row.get(5)?;
    Ok(Decided {
        station: row.get(0)?,
        date: day(row.get_ref(1)?.as_str().map_err(rusqlite::Error::from)?)?,
        element: Element::from_name(&element).ok_or(StoreError::Value {
            column: "element",
            value: element,
        })?,
        corrected: row.get::<_, String>(3)? == word(true),
        value: row.get(4)?,
        unit: Unit::from_code(&unit).ok_or(StoreError::Value {
            column: "unit",
            value: unit,
        })?,
        why: row.get(6)?,
        by: row.get(7)?,
    })
}

impl Decided {
    /// Whether a thermometer in the region could have shown it.
    #[must_use]
    pub fn is_plausible(&self) -> bool {
        Temperature::new(self.value, self.unit).is_some_and(is_plausible)
    }

    /// The decision as the core takes it; `None` when the value is no temperature.
    #[must_use]
    pub fn by_hand(&self) -> Option<ByHand> {
        let value_f = Temperature::new(self.value, self.unit)?.fahrenheit();
        Some(ByHand {
            date: self.date,
            element: self.element,
            decision: if self.corrected {
                Decision::Corrected { value_f }
            } else {
                Decision::Confirmed { value_f }
            },
        })
    }
}

/// Days of a station before a civil day about which something was decided, changed or withdrawn in
/// a stretch of time, oldest first.
///
/// # Errors
/// A failing statement.
pub fn changed(
    connection: &Connection,
    station: &StationId,
    before: NaiveDate,
    when: Range<DateTime<Utc>>,
) -> Result<Vec<NaiveDate>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT day FROM temperature_decision
         WHERE station = ?1 AND day < ?2 AND entered_at >= ?3 AND entered_at < ?4
         UNION
         SELECT day FROM temperature_decision_history
         WHERE station = ?1 AND day < ?2 AND replaced_at >= ?3 AND replaced_at < ?4
         ORDER BY day",
    )?;
    let (from, to) = (when.start.timestamp(), when.end.timestamp());
    let key = params![station.as_str(), before.to_string(), from, to];
    let rows = statement.query_map(key, |row| row.get::<_, String>(0))?;
    rows.map(|text| day(&text?)).collect()
}
