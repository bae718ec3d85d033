//! `duskflight told`: the ledger, what each person was told and when.

use anyhow::Context;
use clap::Args;
use duskflight_core::id::{BlockId, PersonId};

use super::Failure;
use super::common::{ConfigDir, plain_table, print, store_to_read};
use crate::store::told;

/// List what people were told: every event, every revision
#[derive(Debug, Args)]
pub(super) struct Told {
    #[command(flatten)]
    config: ConfigDir,
    /// Only of this block
    #[arg(long, value_name = "BLOCK")]
    block: Option<BlockId>,
    /// Only to this person
    #[arg(long, value_name = "PERSON")]
    person: Option<PersonId>,
}

impl Told {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let store = store_to_read(&config)?;
        let lines = store.read(told::all).await.context("read the ledger")?;
        let mut table = plain_table([
            "told on", "person", "block", "event", "revision", "told as", "value",
        ]);
        let mut shown = 0;
        for line in lines {
            let block = self
                .block
                .as_ref()
                .is_none_or(|block| block.as_str() == line.block);
            let person = self
                .person
                .as_ref()
                .is_none_or(|p| p.as_str() == line.person);
            if block && person {
                shown += 1;
                let value = line.value.unwrap_or_default();
                let revision = line.revision.to_string();
                table.add_row([
                    line.day,
                    line.person,
                    line.block,
                    line.event,
                    revision,
                    line.change,
                    value,
                ]);
            }
        }
        print(&format!("{table}\n{shown} tellings\n"))
    }
}
