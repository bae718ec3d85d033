//! Opening the file, its schema, and the thread that owns the connection.

use std::path::Path;
use std::sync::{Arc, mpsc};
use std::thread;

use chrono::{DateTime, Utc};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use tokio::sync::oneshot;

use super::StoreError;
use super::migration::migrate;
use super::shrink::shrink;
use crate::clock::Clock;
use crate::crash;

/// How long another process may hold the database before a statement gives up.
const BUSY_TIMEOUT: std::time::Duration = std::time::Duration::from_secs(10);

/// The one table that is not copied: nobody reads a mail of a copy.
const MAIL_CONTENT: &str = "mail_content";

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

    /// Copies the file into memory, but for what its mails say, and opens the copy. The file is only read, also
    /// while another process writes it.
    ///
    /// # Errors
    /// When the file cannot be read, is from a newer version, or a schema step fails on the copy.
    pub fn copy_of(path: &Path) -> Result<Self, StoreError> {
        let failed = |source| StoreError::Open {
            path: path.to_owned(),
            source,
        };
        let mut copy = Connection::open_in_memory()?;
        copy_rows(&copy, &to_read(path)).map_err(failed)?;
        copy.pragma_update(None, "foreign_keys", true)?;
        copy.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
        migrate(&mut copy, None)?;
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

    /// Gives room that pruned records left back to the disk.
    ///
    /// # Errors
    /// A failing statement, as when another process reads or the disk is full; the file is then as it was.
    pub async fn shrink(&self) -> Result<(), StoreError> {
        self.call(|connection| shrink(connection)).await
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

pub(super) fn open_connection(path: &Path) -> Result<Connection, StoreError> {
    let opened = Connection::open_with_flags(path, OpenFlags::default()).and_then(|connection| {
        connection.busy_timeout(BUSY_TIMEOUT)?;
        // Of a new file alone; an older one takes it over when it is shrunk first.
        connection.pragma_update(None, "auto_vacuum", "incremental")?;
        connection.pragma_update(None, "journal_mode", "wal")?;
        connection.pragma_update(None, "synchronous", "full")?;
        connection.pragma_update(None, "foreign_keys", true)?;
        connection.pragma_update(None, "journal_size_limit", 16 << 20)?;
        // KiB: what a big farm's night writes stays in memory until it is committed.
        connection.pragma_update(None, "cache_size", -(32 << 10))?;
        // A statement keeps its plan whatever is bound to it; otherwise the ledger's is prepared anew for
        // every row of a night.
        connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
        Ok(connection)
    });
    let mut connection = opened.map_err(|source| StoreError::Open {
        path: path.to_owned(),
        source,
    })?;
    migrate(&mut connection, Some(path))?;
    Ok(connection)
}

/// The address of a file that is read without leaving anything beside it. A file without a log of writes is
/// open nowhere: it is read as it lies there, since SQLite would make a log that it may not take away again.
fn to_read(path: &Path) -> String {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    let how = match Path::new(&log).exists() {
        true => "mode=ro",
        false => "immutable=1",
    };
    let bytes = path.as_os_str().as_encoded_bytes().iter();
    let escaped: String = bytes.map(|byte| format!("%{byte:02x}")).collect();
    format!("file:{escaped}?{how}")
}

/// Copies a file's tables in one read, so that nothing is written between, and then its indices.
fn copy_rows(copy: &Connection, file: &str) -> rusqlite::Result<()> {
    copy.pragma_update(None, "foreign_keys", false)?;
    copy.execute("ATTACH DATABASE ?1 AS file", [file])?;
    copy.execute_batch("BEGIN")?;
    let version: u32 = copy.pragma_query_value(Some("file"), "user_version", |row| row.get(0))?;
    for (table, sql) in declared(copy, "type = 'table'")? {
        copy.execute_batch(&sql)?;
        if table != MAIL_CONTENT {
            let all = format!("INSERT INTO main.\"{table}\" SELECT * FROM file.\"{table}\"");
            copy.execute(&all, [])?;
        }
    }
    for (_, sql) in declared(copy, "type != 'table'")? {
        copy.execute_batch(&sql)?;
    }
    copy.pragma_update(Some("main"), "user_version", version)?;
    copy.execute_batch("COMMIT; DETACH DATABASE file")
}

/// Names of what an attached file declares, with how.
fn declared(copy: &Connection, which: &str) -> rusqlite::Result<Vec<(String, String)>> {
    let sql = format!(
        "SELECT name, sql FROM file.sqlite_schema
         WHERE {which} AND sql IS NOT NULL AND name NOT LIKE 'sqlite%' ORDER BY rowid"
    );
    let mut statement = copy.prepare(&sql)?;
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    rows.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

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
        assert_eq!(pragma("auto_vacuum"), "Integer(2)");
    }

    #[tokio::test]
    async fn a_copy_in_memory_holds_all_but_what_mails_say_and_leaves_nothing_beside_the_file() {
        use crate::store::{outbox, sample};
        use duskflight_core::ledger::MailKind;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records with 100 % room?.sqlite");
        let of_file = {
            let file = open_connection(&path).unwrap();
            outbox::queue(&file, &sample::mail("a", MailKind::Digest, "ada", 0)).unwrap();
            schema(&file)
        };
        let copy = Store::copy_of(&path).unwrap();
        let of_copy: Result<_, StoreError> = copy
            .read(|c| {
                let bodies: u32 =
                    c.query_row("SELECT count(*) FROM mail_content", [], |row| row.get(0))?;
                Ok((schema(c), outbox::read_queue(c)?.mails().len(), bodies))
            })
            .await;
        assert_eq!(of_copy.unwrap(), (of_file, 1, 0));
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
        let none = Store::copy_of(&dir.path().join("none.sqlite"));
        assert!(matches!(none, Err(StoreError::Open { .. })));
    }

    fn schema(connection: &Connection) -> Vec<(String, String)> {
        let mut statement = connection
            .prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name")
            .unwrap();
        let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)));
        rows.unwrap().collect::<Result<_, _>>().unwrap()
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
