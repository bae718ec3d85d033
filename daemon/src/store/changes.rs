//! Whether anything changed that seasons are made from.

use rusqlite::Connection;

use super::StoreError;

/// Where the records of temperatures, visits, notes and tellings stand: equal marks, equal seasons.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark([i64; 10]);

impl Mark {
    /// Where they stand now. What is entered and what is replaced both move it.
    ///
    /// # Errors
    /// A failing statement.
    pub fn read(connection: &Connection) -> Result<Self, StoreError> {
        let mark = connection
            .prepare_cached(
                "SELECT (SELECT count(*) FROM visit),
                        (SELECT coalesce(max(rowid), 0) FROM visit_history),
                        (SELECT count(*) FROM note),
                        (SELECT coalesce(max(rowid), 0) FROM note_history),
                        (SELECT coalesce(max(id), 0) FROM fetch_log WHERE changed > 0),
                        (SELECT count(*) FROM temperature_decision),
                        (SELECT coalesce(max(rowid), 0) FROM temperature_decision_history),
                        (SELECT coalesce(max(received_at), 0) FROM forecast_day),
                        (SELECT count(*) FROM kept_start),
                        (SELECT count(*) FROM told)",
            )?
            .query_row([], |row| {
                let mut mark = [0; 10];
                for (place, value) in mark.iter_mut().enumerate() {
                    *value = row.get(place)?;
                }
                Ok(mark)
            })?;
        Ok(Self(mark))
    }
}

/// A number that is another one once any other connection has written.
///
/// # Errors
/// A failing statement.
pub fn version(connection: &Connection) -> Result<i64, StoreError> {
    Ok(connection.pragma_query_value(None, "data_version", |row| row.get(0))?)
}
