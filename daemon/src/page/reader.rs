//! The records as the page reads them: what is short, and what takes longer.

use std::path::Path;
use std::sync::Arc;

use rusqlite::Connection;
use tokio::sync::Semaphore;

use crate::config::Config;
use crate::store::{Store, StoreError};
use crate::trim::trim;

/// So many things that take longer are worked out at once; others wait.
const WORKED_OUT_AT_ONCE: usize = 2;

/// The records, open to be read.
#[derive(Debug, Clone)]
pub struct Reader {
    /// A thread of its own, so that no write holds up a look.
    store: Store,
    workers: Arc<Semaphore>,
}

impl Reader {
    /// Opens records that may be open to be written elsewhere.
    ///
    /// # Errors
    /// When they cannot be opened.
    pub fn open(database: &Path) -> Result<Self, StoreError> {
        Ok(Self::of(Store::open_to_read(database)?))
    }

    /// Reads what is open.
    pub(super) fn of(store: Store) -> Self {
        let workers = Arc::new(Semaphore::new(WORKED_OUT_AT_ONCE));
        Self { store, workers }
    }

    /// Looks something up.
    ///
    /// # Errors
    /// What `look` meets.
    pub(super) async fn read<T, E>(
        &self,
        look: impl FnOnce(&Connection) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        self.store.read(look).await
    }

    /// Works something out that takes longer, on a connection and thread of its own, a few at a time.
    ///
    /// # Errors
    /// What `work` meets, or when the records cannot be opened.
    pub(super) async fn work_out<T, E>(
        &self,
        config: &Arc<Config>,
        work: impl FnOnce(&Connection, &Config) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        // It is never closed. The thread keeps its place until it is done, also when nobody waits for it any more.
        let place = Arc::clone(&self.workers).acquire_owned().await.ok();
        let own = Store::open_to_read(&config.database)?;
        let config = Arc::clone(config);
        let worked = own.read(move |c| {
            let _place = place;
            let worked = work(c, &config);
            // Each thread's memory would be kept for the next one.
            trim();
            worked
        });
        worked.await
    }
}
