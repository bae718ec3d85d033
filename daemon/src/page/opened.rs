//! What the page works with: the records that are open and the configuration that is in force.

use std::sync::Arc;

use tokio::sync::watch;

use super::reader::Reader;
use crate::config::Config;
use crate::store::{Store, StoreError};

/// The records, open and checked, and the configuration in force.
#[derive(Debug, Clone)]
pub struct Opened {
    /// The records.
    pub store: Store,
    /// The records, to be read.
    pub reader: Reader,
    /// The configuration.
    pub config: Arc<Config>,
}

impl Opened {
    /// Opens records that are open to be written once more, to be read.
    ///
    /// # Errors
    /// When they cannot be opened.
    pub fn new(store: Store, config: Arc<Config>) -> Result<Self, StoreError> {
        Ok(Self {
            store,
            reader: Reader::open(&config.database)?,
            config,
        })
    }
}

/// The newest of it; `None` while the records cannot be used.
pub type Farm = watch::Receiver<Option<Opened>>;
