//! `duskflight backup`: a checked copy of the records, now.

use clap::Args;

use super::Failure;
use super::common::{ConfigDir, open_store, print};
use crate::clock::{Clock, SystemClock};
use crate::store::backup;

/// Keep a checked copy of the records now, as the daemon does every night
///
/// The copy takes the place of an earlier one of the same day, in the folder `backups` beside the database. The
/// daemon may be at work meanwhile.
#[derive(Debug, Args)]
pub(super) struct Backup {
    #[command(flatten)]
    config: ConfigDir,
}

impl Backup {
    pub(super) fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        // Open while it is copied, so that a log of writes is there for the copy and is put away after it.
        let _store = open_store(&config)?;
        let copy = backup::of_day(&config.database, config.day_of(SystemClock.now()))?;
        print(&format!("copied and checked: {}\n", copy.display()))
    }
}
