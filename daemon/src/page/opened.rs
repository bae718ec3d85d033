//! What the page works with: the records that are open and the configuration that is in force.

use std::sync::Arc;

use tokio::sync::watch;

use crate::config::Config;
use crate::store::Store;

/// The records, open and checked, and the configuration in force.
#[derive(Debug, Clone)]
pub struct Opened {
    /// The records.
    pub store: Store,
    /// The configuration.
    pub config: Arc<Config>,
}

/// The newest of it; `None` while the records cannot be used.
pub type Farm = watch::Receiver<Option<Opened>>;
