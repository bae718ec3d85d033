//! Opening the file, its schema, and the thread that owns the connection.

use std::path::Path;
use std::sync::mpsc;
use std::thread;

use rusqlite::backup::Backup;
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use tokio::sync::oneshot;

use super::StoreError;
use super::migration::migrate;
use super::shrink::shrink;
use crate::crash;

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
