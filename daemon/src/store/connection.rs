//! Opening the file, its schema, and the thread that owns the connection.

use std::path::Path;
use std::sync::{Arc, mpsc};
use std::thread;

use chrono::{DateTime, Utc};
use rusqlite::backup::Backup;
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use tokio::sync::oneshot;

use super::StoreError;
use crate::clock::Clock;
use crate::crash;

/// Schema steps, oldest first; a released step is never edited.
const MIGRATIONS: [&str; 4] = [
    include_str!("schema.sql"),
    include_str!("schema-2.sql"),
    include_str!("schema-3.sql"),
    include_str!("schema-4.sql"),
];
/// How long another process may hold the database before a statement gives up.
const BUSY_TIMEOUT: std::time::Duration = std::time::Duration::from_secs(10);

/// A file is copied in one step, so that nothing is written between.
const ALL_PAGES: i32 = i32::MAX;
/// How long to wait until a file that cannot be read at the moment is tried again.
const BUSY_PAUSE: std::time::Duration = std::time::Duration::from_millis(50);

type Work = Box<dyn FnOnce(&mut Connection) + Send>;

/// A handle to the thread that owns the database.
#[derive(Debug, Clone)]
pub struct Store {
    work: mpsc::Sender<Work>,
}

impl Store {
    /// Opens or creates the file, brings its schema up to date and starts the thread.
    ///
    /// # Errors
    /// When the file cannot be opened, is from a newer version, or a schema step fails; the file is
    /// then as it was.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        Self::on_own_thread(open_connection(path)?)
    }

    /// Copies the file into memory and opens the copy. The file is only read, also while another process
    /// writes it.
    ///
    /// # Errors
    /// When the file cannot be read, is from a newer version, or a schema step fails on the copy.
    pub fn copy_of(path: &Path) -> Result<Self, StoreError> {
        let failed = |source| StoreError::Open {
            path: path.to_owned(),
            source,
        };
        let file = open_to_read(path).map_err(failed)?;
        let mut copy = Connection::open_in_memory()?;
        Backup::new(&file, &mut copy)
            .and_then(|backup| backup.run_to_completion(ALL_PAGES, BUSY_PAUSE, None))
            .map_err(failed)?;
        copy.pragma_update(None, "foreign_keys", true)?;
        copy.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
        migrate(&mut copy)?;
        Self::on_own_thread(copy)
    }

    fn on_own_thread(connection: Connection) -> Result<Self, StoreError> {
        let (work, queue) = mpsc::channel::<Work>();
        thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || serve(connection, &queue))
            .map_err(|_| StoreError::Ended)?;
        Ok(Self { work })
    }

    /// Runs `act` in one immediate transaction and commits when it returns `Ok`.
    ///
    /// # Errors
    /// What `act` returns, after a roll-back, or a failing statement of the transaction itself.
    pub async fn write<T, E>(
        &self,
        act: impl FnOnce(&Transaction<'_>) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        self.call(|connection| {
            let transaction = connection
                .transaction_with_behavior(TransactionBehavior::Immediate)
                .map_err(StoreError::from)?;
            let value = act(&transaction)?;
            crash::point("before a commit");
            transaction.commit().map_err(StoreError::from)?;
            crash::point("after a commit");
            Ok(value)
        })
        .await
    }

    /// As [`Store::write`], with the instant at which the transaction has begun: what it stores is dated by
    /// when it lands. Work that began before a telling may land after it, and is news the morning after.
    ///
    /// # Errors
    /// As [`Store::write`].
    pub async fn write_at<T, E>(
        &self,
        clock: &Arc<dyn Clock>,
        act: impl FnOnce(&Transaction<'_>, DateTime<Utc>) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        let clock = Arc::clone(clock);
        self.write(move |transaction| act(transaction, clock.now()))
            .await
    }

    /// Runs `look` in one read transaction, so that all it reads belongs together.
    ///
    /// # Errors
    /// What `look` returns, or a failing statement of the transaction itself.
    pub async fn read<T, E>(
        &self,
        look: impl FnOnce(&Connection) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        self.call(|connection| {
            let transaction = connection.transaction().map_err(StoreError::from)?;
            look(&transaction)
        })
        .await
    }

    async fn call<T, E>(
        &self,
        act: impl FnOnce(&mut Connection) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        let (answer, wait) = oneshot::channel();
        let work: Work = Box::new(move |connection| {
            // The caller may have gone; its work is done all the same.
            let _ = answer.send(act(connection));
        });
        self.work.send(work).map_err(|_| StoreError::Ended)?;
        wait.await.map_err(|_| StoreError::Ended)?
    }
}

/// Work that panics is dropped with its answer, so its caller hears of it; the thread lives on.
fn serve(mut connection: Connection, queue: &mpsc::Receiver<Work>) {
    while let Ok(work) = queue.recv() {
        let act = std::panic::AssertUnwindSafe(|| work(&mut connection));
        if std::panic::catch_unwind(act).is_err() {
            tracing::error!("work in the database thread panicked; its transaction is rolled back");
        }
    }
}

fn open_connection(path: &Path) -> Result<Connection, StoreError> {
    let opened = Connection::open_with_flags(path, OpenFlags::default()).and_then(|connection| {
        connection.busy_timeout(BUSY_TIMEOUT)?;
        connection.pragma_update(None, "journal_mode", "wal")?;
        connection.pragma_update(None, "synchronous", "full")?;
        connection.pragma_update(None, "foreign_keys", true)?;
        connection.pragma_update(None, "journal_size_limit", 16 << 20)?;
        // A statement keeps its plan whatever is bound to it; otherwise the ledger's is prepared anew for
        // every row of a night.
        connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
        Ok(connection)
    });
    let mut connection = opened.map_err(|source| StoreError::Open {
        path: path.to_owned(),
        source,
    })?;
    migrate(&mut connection)?;
    Ok(connection)
}

/// Opens a file to be read without leaving anything beside it. A file without a log of writes is open nowhere:
/// it is read as it lies there, since SQLite would make a log that it may not take away again.
fn open_to_read(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    if Path::new(&log).exists() {
        return Connection::open_with_flags(path, flags);
    }
    let bytes = path.as_os_str().as_encoded_bytes().iter();
    let escaped: String = bytes.map(|byte| format!("%{byte:02x}")).collect();
    let as_it_lies = format!("file:{escaped}?immutable=1");
    Connection::open_with_flags(as_it_lies, flags | OpenFlags::SQLITE_OPEN_URI)
}

/// Brings the schema up to date in one transaction, so that a failing step leaves all as it was.
fn migrate(connection: &mut Connection) -> Result<(), StoreError> {
    let known = i64::try_from(MIGRATIONS.len()).expect("there are few schema steps");
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let found: i64 = transaction.pragma_query_value(None, "user_version", |row| row.get(0))?;
    if found > known {
        return Err(StoreError::Newer { found, known });
    }
    for step in MIGRATIONS.iter().skip(usize::try_from(found).unwrap_or(0)) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "user_version", known)?;
    transaction.commit()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use duskflight_core::trapping::NoteKind;

    use super::*;
    use crate::store::{entries, notes, visits};

    #[test]
    fn a_connection_is_durable_and_checks_foreign_keys() {
        let dir = tempfile::tempdir().unwrap();
        let connection = open_connection(&dir.path().join("records.sqlite")).unwrap();
        let pragma = |name| -> String {
            let value: rusqlite::types::Value = connection
                .pragma_query_value(None, name, |row| row.get(0))
                .unwrap();
            format!("{value:?}")
        };
        assert_eq!(pragma("journal_mode"), "Text(\"wal\")");
        assert_eq!(pragma("synchronous"), "Integer(2)");
        assert_eq!(pragma("foreign_keys"), "Integer(1)");
    }

    #[test]
    fn every_table_is_strict_and_explains_itself() {
        let dir = tempfile::tempdir().unwrap();
        let connection = open_connection(&dir.path().join("records.sqlite")).unwrap();
        let mut tables = connection
            .prepare("SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND name NOT LIKE 'sqlite%'")
            .unwrap();
        let rows: Vec<(String, bool)> = tables
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
            .unwrap()
            .map(Result::unwrap)
            .collect();
        assert!(rows.len() >= 9);
        for (name, strict) in rows {
            assert!(strict, "{name} is not STRICT");
            let sql: String = connection
                .query_row(
                    "SELECT sql FROM sqlite_schema WHERE name = ?1",
                    [&name],
                    |r| r.get(0),
                )
                .unwrap();
            assert!(sql.contains("-- "), "{name} says nothing of itself");
        }
    }

    #[test]
    fn a_newer_schema_is_refused_and_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records.sqlite");
        drop(open_connection(&path).unwrap());
        let connection = Connection::open(&path).unwrap();
        connection.pragma_update(None, "user_version", 99).unwrap();
        drop(connection);
        let refused = open_connection(&path).unwrap_err();
        assert!(matches!(
            refused,
            StoreError::Newer {
                found: 99,
                known: 4
            }
        ));
    }

    #[test]
    fn a_database_of_an_earlier_schema_becomes_like_a_new_one() {
        let dir = tempfile::tempdir().unwrap();
        let tables = |path: &Path| -> Vec<(String, String)> {
            let connection = open_connection(path).unwrap();
            let mut tables = connection
                .prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name")
                .unwrap();
            let rows = tables.query_map([], |row| Ok((row.get(0)?, row.get(1)?)));
            rows.unwrap().map(Result::unwrap).collect()
        };
        let (old, new) = (dir.path().join("old.sqlite"), dir.path().join("new.sqlite"));
        for steps in 1..MIGRATIONS.len() {
            let connection = Connection::open(&old).unwrap();
            for step in &MIGRATIONS[..steps] {
                connection.execute_batch(step).unwrap();
            }
            connection
                .pragma_update(None, "user_version", steps as i64)
                .unwrap();
            drop(connection);
            assert_eq!(tables(&old), tables(&new));
            std::fs::remove_file(&old).unwrap();
        }
    }

    #[test]
    fn records_of_step_2_keep_their_meaning() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records.sqlite");
        let old = Connection::open(&path).unwrap();
        for step in &MIGRATIONS[..2] {
            old.execute_batch(step).unwrap();
        }
        old.pragma_update(None, "user_version", 2).unwrap();
        old.execute_batch(
            "INSERT INTO visit VALUES
               ('e1', '2022-04-12', 7, NULL, NULL, NULL, 1, 'bait', 'edge row', 20, 'ada', 'import b.csv', 'bbbb:1'),
               ('p1', '2022-04-12', NULL, NULL, 3, 0, 1, '', '', 10, 'ada', 'import a.csv', 'aaaa:2');
             INSERT INTO visit_history VALUES
               ('e1', '2022-04-12', 3, NULL, NULL, NULL, 1, '', '', 10, 'ada', 'import a.csv', 'aaaa:1', 20);
             INSERT INTO note VALUES
               ('b', '', 'egg-laying-start', '2022-04-20', '2022-04-12', 'own book', 10, 'ada', 'import n.csv', 'cccc:1'),
               ('b', 'Nonpareil', 'hull-split', '2022-07-04', NULL, '', 11, 'ada', 'import n.csv', 'cccc:2'),
               ('b', 'Nonpareil', 'hull-split-expected', '2022-06-01', '2022-07-02', '', 10, 'ben', 'import n.csv', 'cccc:3');
             INSERT INTO note_history VALUES
               ('b', '', 'egg-laying-start', '2022-04-20', '2022-04-13', 'guess', 5, 'ada', 'import m.csv', 'dddd:1', 10);",
        )
        .unwrap();
        drop(old);

        let new = open_connection(&path).unwrap();
        let date = |month, day| chrono::NaiveDate::from_ymd_opt(2022, month, day).unwrap();
        let read = visits::up_to(&new, date(12, 31)).unwrap();
        assert_eq!((read[0].eggs, read[0].eggs_left), (Some(7), false));
        assert_eq!((read[1].males, read[1].moths), (Some(3), None));
        let past = visits::history(&new, None).unwrap();
        assert_eq!(
            (past[0].record.eggs, &past[0].replaced_by, &past[0].why),
            (Some(3), &None, &None)
        );
        let written = notes::up_to(&new, date(12, 31)).unwrap();
        let kinds: Vec<NoteKind> = written.iter().map(|note| note.kind).collect();
        assert_eq!(
            kinds,
            [
                NoteKind::EggLayingStart(date(4, 12)),
                NoteKind::HullSplitExpected(date(7, 2)),
                NoteKind::HullSplit,
            ]
        );
        assert_eq!((&*written[0].text, &*written[1].by), ("own book", "ben"));
        let past = notes::history(&new, None).unwrap();
        assert_eq!(past[0].record.kind, NoteKind::EggLayingStart(date(4, 13)));
        // Their files are known: imported again, they bring nothing back.
        let at = chrono::DateTime::UNIX_EPOCH;
        let known = ["aaaa", "bbbb", "cccc", "dddd", "eeee"]
            .map(|file| entries::importing(&new, file, at).unwrap());
        assert_eq!(known, [true, true, true, true, false]);
    }

    #[test]
    fn mails_and_tellings_of_step_3_keep_their_meaning() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records.sqlite");
        let old = Connection::open(&path).unwrap();
        for step in &MIGRATIONS[..3] {
            old.execute_batch(step).unwrap();
        }
        old.pragma_update(None, "user_version", 3).unwrap();
        old.execute_batch(
            "INSERT INTO outbox VALUES
               ('<d1@f>', 'digest', 'ada', 'ada', '2022-06-20', 'ada@f', 's', x'41', 100, NULL, 0, 'sent', 1, 0, 100, 100, NULL, 110, '250 ok', NULL),
               ('<a1@f>', 'alert', 'gil', 'ada', '2022-06-20', 'gil@f', 's', x'42', 100, '<d1@f>', 3600, 'queued', 0, 0, NULL, 100, NULL, NULL, NULL, NULL),
               ('<d2@f>', 'digest', 'ada', 'ada', '2022-06-21', 'ada@f', 's', x'43', 200, NULL, 0, 'queued', 2, 0, 200, 200, 'no answer', NULL, NULL, NULL);
             INSERT INTO told VALUES
               (2022, 'b', 'now', 'egg-laying-start', 'ada', 1, '2022-04-20', '2022-06-20', '<d1@f>'),
               (2022, 'b', 'now', 'egg-laying-start', 'ada', 2, '2022-04-24', '2022-06-21', '<d2@f>'),
               (2022, 'b', 'now', 'egg-laying-start', 'gil', 1, '2022-04-20', '2022-06-20', NULL),
               (2022, 'b', 'now', 'start-provisional', 'ada', 1, '2022-04-17', '2022-06-20', '<d1@f>'),
               (2022, 'b', 'now', 'start-provisional', 'ada', 2, NULL, '2022-06-20', '<d1@f>'),
               (2022, 'b', 'now', 'start-provisional', 'ada', 3, '2022-04-20', '2022-06-21', '<d2@f>');",
        )
        .unwrap();
        drop(old);

        let new = open_connection(&path).unwrap();
        let texts = |sql: &str| -> Vec<String> {
            let mut rows = new.prepare(sql).unwrap();
            let rows = rows.query_map([], |row| row.get(0)).unwrap();
            rows.map(Result::unwrap).collect()
        };
        assert_eq!(
            texts(
                "SELECT message_id || ' ' || state || ' ' || doubtful FROM outbox ORDER BY rowid"
            ),
            ["<d1@f> sent 0", "<a1@f> queued 0", "<d2@f> queued 1"]
        );
        assert_eq!(
            texts("SELECT mail || ' waits for ' || digest FROM outbox_wait"),
            ["<a1@f> waits for <d1@f>"]
        );
        assert_eq!(
            texts(
                "SELECT person || ' ' || event || ' ' || revision || ' ' || change FROM told ORDER BY person, event, revision"
            ),
            [
                "ada egg-laying-start 1 new",
                "ada egg-laying-start 2 corrected",
                "ada start-provisional 1 new",
                "ada start-provisional 2 withdrawn",
                "ada start-provisional 3 new",
                "gil egg-laying-start 1 history",
            ]
        );
        let broken: i64 = new
            .query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |row| {
                row.get(0)
            })
            .unwrap();
        assert_eq!(broken, 0);
    }

    #[tokio::test]
    async fn a_panic_in_a_write_rolls_back_and_the_next_write_works() {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(&dir.path().join("records.sqlite")).unwrap();
        let insert = "INSERT INTO job_run VALUES ('tell', '2022-06-01', 'done', 1, 0, 0, 0, NULL)";
        let panicked: Result<(), StoreError> = store
            .write(move |t| {
                t.execute(insert, [])?;
                panic!("on purpose");
            })
            .await;
        assert!(matches!(panicked, Err(StoreError::Ended)));
        let rows: Result<i64, StoreError> = store
            .read(|c| Ok(c.query_row("SELECT count(*) FROM job_run", [], |row| row.get(0))?))
            .await;
        assert_eq!(rows.unwrap(), 0);
        let written: Result<usize, StoreError> =
            store.write(move |t| Ok(t.execute(insert, [])?)).await;
        assert_eq!(written.unwrap(), 1);
    }
}
