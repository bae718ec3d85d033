//! `visits export` and `notes export`: sheets that import to the same records.

use anyhow::Context;
use clap::Args;

use super::between::Between;
use crate::cli::Failure;
use crate::cli::common::{ConfigDir, print, store_to_read};
use crate::records::{Kind, notes_csv, visits_csv};
use crate::store::{notes, visits};

#[derive(Debug, Args)]
pub(crate) struct Export {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    between: Between,
}

impl Export {
    pub(super) async fn run(self, kind: Kind) -> Result<(), Failure> {
        let store = store_to_read(&*self.config.read()?)?;
        let days = self.between.days();
        let read = match kind {
            Kind::Visits => {
                store
                    .read(move |c| Ok(visits_csv(&visits::entered_between(c, days)?)))
                    .await
            }
            Kind::Notes => {
                store
                    .read(move |c| Ok(notes_csv(&notes::between(c, days)?)))
                    .await
            }
        };
        let read: Result<String, crate::store::StoreError> = read;
        print(&read.context("read the records")?)
    }
}
