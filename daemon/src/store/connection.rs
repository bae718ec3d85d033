//! The thread that owns the connection, and the handle to it.

use std::path::Path;
use std::sync::{Arc, mpsc};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use chrono::{DateTime, Utc};
use rusqlite::{Connection, Transaction, TransactionBehavior};
use tokio::sync::oneshot;

use super::StoreError;
use super::damage::damage;
use super::in_use::{self, InUse};
use super::opening::{
    AsItLies, BUSY_TIMEOUT, copy_in_memory, create_connection, empty_in_memory, leave_as_it_is,
    open_connection, open_to_read, regular_file,
};
use super::shrink::shrink;
use crate::clock::Clock;
use crate::crash;

/// How long others may hold up that the log of writes is emptied.
const CHECKPOINT_WAITS: Duration = Duration::from_secs(1);

type Work = Box<dyn FnOnce(&mut Connection) + Send>;

/// A handle to the thread that owns the database. The last one to go waits for the thread, which closes the
/// file in order: then the file alone is the records, with nothing beside it.
#[derive(Debug, Clone)]
pub struct Store {
    owner: Arc<Owner>,
    as_it_lies: Option<AsItLies>,
}

#[derive(Debug)]
struct Owner {
    /// Gone once the thread is to end.
    work: Option<mpsc::Sender<Work>>,
    thread: Option<JoinHandle<()>>,
}

impl Drop for Owner {
    fn drop(&mut self) {
        drop(self.work.take());
        let thread = self.thread.take();
        // Work that holds the last handle is on the thread itself, which then ends by itself.
        let other = thread.filter(|owner| owner.thread().id() != thread::current().id());
        if let Some(thread) = other {
            // It catches panics of its work; there is nothing else to hear of it.
            let _ = thread.join();
        }
    }
}

impl Store {
    /// Opens a file that is there, brings its schema up to date and starts the thread.
    ///
    /// # Errors
    /// When there is no file or it holds no records, it cannot be opened, is from a newer version, or a schema
    /// step fails; the file is then as it was.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        // Of records that are missing there is nothing to lock, unless they are only away.
        if !in_use::was_ever(path) {
            regular_file(path)?;
        }
        let in_use = InUse::with_others(path)?;
        Self::on_own_thread(open_connection(path)?, None, Some(in_use))
    }

    /// As [`Store::open`], and makes the file when it is not there. For whoever begins a farm, and nobody else.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn create(path: &Path) -> Result<Self, StoreError> {
        let in_use = InUse::with_others(path)?;
        Self::on_own_thread(create_connection(path)?, None, Some(in_use))
    }

    /// Opens a file to read, by whoever may read it, and leaves nothing beside it. Records of an earlier schema
    /// are read as this version would have them.
    ///
    /// # Errors
    /// When there is no file or it holds no records, it cannot be read or is from a newer version.
    pub fn open_to_read(path: &Path) -> Result<Self, StoreError> {
        let opened = open_to_read(path)?;
        Self::on_own_thread(opened.connection, opened.as_it_lies, None)
    }

    /// Copies the file into memory, but for what its mails say, and opens the copy. The file is only read, also
    /// while another process writes it.
    ///
    /// # Errors
    /// As [`Store::open_to_read`].
    pub fn copy_of(path: &Path) -> Result<Self, StoreError> {
        Self::on_own_thread(copy_in_memory(path)?, None, None)
    }

    /// Makes records that are nowhere but in memory, for a mail that needs no database.
    ///
    /// # Errors
    /// When there is no memory for them.
    pub fn in_memory() -> Result<Self, StoreError> {
        Self::on_own_thread(empty_in_memory()?, None, None)
    }

    fn on_own_thread(
        connection: Connection,
        as_it_lies: Option<AsItLies>,
        in_use: Option<InUse>,
    ) -> Result<Self, StoreError> {
        let (work, queue) = mpsc::channel::<Work>();
        let thread = thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || {
                serve(connection, &queue);
                // Not before the file is closed.
                drop(in_use);
            })
            .map_err(|_| StoreError::Ended)?;
        let owner = Owner {
            work: Some(work),
            thread: Some(thread),
        };
        Ok(Self {
            owner: Arc::new(owner),
            as_it_lies,
        })
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
        let as_it_lies = self.as_it_lies.clone();
        self.call(move |connection| {
            let transaction = connection.transaction().map_err(StoreError::from)?;
            let seen = look(&transaction);
            as_it_lies.map_or(Ok(()), |file| file.check())?;
            seen
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

    /// Writes the log of writes into the file, which then has all, and empties the log. While another process
    /// reads, what can be written is, and the next call does the rest.
    ///
    /// # Errors
    /// A failing statement, as when the disk is full.
    pub async fn checkpoint(&self) -> Result<(), StoreError> {
        self.call(|connection| {
            // Nobody else is served meanwhile, and somebody may read for hours.
            connection.busy_timeout(CHECKPOINT_WAITS)?;
            let truncated = connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()));
            connection.busy_timeout(BUSY_TIMEOUT)?;
            Ok(truncated?)
        })
        .await
    }

    /// Checks the file as a whole. A damaged one stays as it is, and so does its log of writes, also at the end.
    ///
    /// # Errors
    /// [`StoreError::Damaged`], or a failing statement, such as one that meets the damage.
    pub async fn check(&self) -> Result<(), StoreError> {
        self.call(|connection| {
            let sound = damage(connection)
                .map_err(StoreError::from)
                .and_then(|found| found.map_or(Ok(()), |found| Err(StoreError::Damaged(found))));
            match &sound {
                // Every page was read, and few of them are needed next.
                Ok(()) => connection.execute_batch("PRAGMA shrink_memory")?,
                Err(_) => drop(leave_as_it_is(connection, true)?),
            }
            sound
        })
        .await
    }

    /// Leaves the log of writes beside the file at the end: they are no more to be brought together.
    ///
    /// # Errors
    /// When the thread has ended.
    pub async fn leave_as_it_is(&self) -> Result<(), StoreError> {
        self.call(|connection| Ok(leave_as_it_is(connection, true).map(drop)?))
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
        let queue = self.owner.work.as_ref().ok_or(StoreError::Ended)?;
        queue.send(work).map_err(|_| StoreError::Ended)?;
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

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_panic_in_a_write_rolls_back_and_the_next_write_works() {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::create(&dir.path().join("records.sqlite")).unwrap();
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

    #[tokio::test]
    async fn after_a_checkpoint_the_file_alone_has_all() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("records.sqlite");
        let store = Store::create(&path).unwrap();
        let insert = "INSERT INTO job_run VALUES ('tell', '2022-06-01', 'done', 1, 0, 0, 0, NULL)";
        let written: Result<usize, StoreError> =
            store.write(move |t| Ok(t.execute(insert, [])?)).await;
        written.unwrap();
        store.checkpoint().await.unwrap();
        let alone = dir.path().join("alone.sqlite");
        std::fs::copy(&path, &alone).unwrap();
        let rows: i64 = Connection::open(&alone)
            .unwrap()
            .query_row("SELECT count(*) FROM job_run", [], |row| row.get(0))
            .unwrap();
        assert_eq!(rows, 1);
    }
}
