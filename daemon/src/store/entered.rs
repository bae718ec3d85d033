//! How much people have entered, and up to when missing records are accepted as they are.

use chrono::{DateTime, Utc};
use duskflight_core::ledger::Entered;
use rusqlite::{Connection, OptionalExtension, params};

use super::StoreError;

/// Counts what was entered, each once, also what was changed or withdrawn since: a count that only grows.
///
/// # Errors
/// A failing statement.
pub fn entered(connection: &Connection) -> Result<Entered, StoreError> {
    Ok(Entered {
        readings: count(connection, "visit", &["trap", "day"])?,
        notes: count(connection, "note", &["block", "variety", "kind", "day"])?,
        temperatures: decided_days(connection)?,
    })
}

/// What stands, counted on an index alone, and what was withdrawn, which are few.
fn count(connection: &Connection, table: &str, key: &[&str]) -> Result<u64, StoreError> {
    let stands: Vec<String> = key.iter().map(|of| format!("{of} = gone.{of}")).collect();
    counted(
        connection,
        &format!(
            "SELECT (SELECT count(*) FROM {table}) + (SELECT count(*) FROM (
               SELECT DISTINCT {} FROM {table}_history AS gone
               WHERE NOT EXISTS (SELECT 1 FROM {table} WHERE {})))",
            key.join(", "),
            stands.join(" AND "),
        ),
    )
}

/// A day counts once, whether one of its temperatures was decided or both.
fn decided_days(connection: &Connection) -> Result<u64, StoreError> {
    counted(
        connection,
        "SELECT count(*) FROM (SELECT station, day FROM temperature_decision
           UNION SELECT station, day FROM temperature_decision_history)",
    )
}

fn counted(connection: &Connection, sql: &str) -> Result<u64, StoreError> {
    let counted: i64 = connection
        .prepare_cached(sql)?
        .query_row([], |row| row.get(0))?;
    Ok(counted.unsigned_abs())
}

/// Up to when the records are accepted as they are, whatever left before; `None` where nobody did.
///
/// # Errors
/// A failing statement.
pub fn accepted(connection: &Connection) -> Result<Option<i64>, StoreError> {
    let accepted = connection
        .prepare_cached("SELECT at FROM accepted_records WHERE id = 1")?
        .query_row([], |row| row.get(0))
        .optional()?;
    Ok(accepted)
}

/// Accepts the records as they are: what is missing is lost.
///
/// # Errors
/// A failing statement.
pub fn accept(connection: &Connection, by: &str, now: DateTime<Utc>) -> Result<(), StoreError> {
    connection.execute(
        "INSERT OR REPLACE INTO accepted_records (id, at, by) VALUES (1, ?1, ?2)",
        params![now.timestamp(), by],
    )?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::sample::records;

    #[test]
    fn what_was_entered_counts_once_also_when_it_was_changed_or_withdrawn() {
        let dir = tempfile::tempdir().unwrap();
        let c = records(dir.path());
        let visit = |trap: &str| {
            format!(
                "INSERT INTO visit VALUES ('{trap}', '2022-06-01', 7, NULL, NULL, NULL, 1, '', '', 9, 'ada', 'x', '{trap}', 0);"
            )
        };
        let before = |trap: &str, at: u32| {
            format!(
                "INSERT INTO visit_history (trap, day, readable, serviced, note, entered_at, entered_by, via, entry_id, replaced_at)
                 VALUES ('{trap}', '2022-06-01', 1, '', '', 8, 'ada', 'x', '{trap}{at}', {at});"
            )
        };
        // One stands, one was changed twice, one was withdrawn after a change.
        let sql = visit("e1")
            + &visit("e2")
            + &before("e2", 1)
            + &before("e2", 2)
            + &before("e3", 1)
            + &before("e3", 2);
        c.execute_batch(&sql).unwrap();
        c.execute_batch(
            "INSERT INTO temperature_decision VALUES
               ('a', '2022-06-01', 'tmin', 'confirmed', 60, 'f', '', 1, 'ada', 'x'),
               ('a', '2022-06-01', 'tmax', 'confirmed', 90, 'f', '', 1, 'ada', 'x');
             INSERT INTO temperature_decision_history VALUES
               ('a', '2022-06-02', 'tmin', 'confirmed', 60, 'f', '', 1, 'ada', 'x', 2, 'ada');",
        )
        .unwrap();
        let entered = entered(&c).unwrap();
        assert_eq!(
            (entered.readings, entered.notes, entered.temperatures),
            (3, 0, 2)
        );
    }
}
