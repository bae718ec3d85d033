//! `duskflight restore`: a copy put in the place of the records.

use std::path::PathBuf;

use anyhow::{Context, anyhow};
use clap::Args;

use super::Failure;
use super::common::{AsOf, ConfigDir, open_store, print};
use crate::clock::{Clock, SystemClock};
use crate::runner::Lock;
use crate::store::backup;
use crate::store::journal::{self, JournalError};
use crate::store::restore::restore;

/// Put a copy of the records in their place, and say what was told since; the daemon must be stopped
///
/// The copy is checked first. The present file is kept beside it under a name that says when. What the journal
/// knows as told since the copy stays told: nobody hears it twice and nothing is withdrawn.
#[derive(Debug, Args)]
pub(super) struct Restore {
    /// The copy, or `latest` for the newest one of the folder `backups` whose day has come
    #[arg(value_name = "FILE|latest")]
    copy: PathBuf,
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
}

impl Restore {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let _lock = Lock::take(&config.database)?;
        let (today, now) = self.as_of.moment(&config);
        let copy = match self.copy.to_str() {
            Some("latest") => backup::newest(&config.database, today).ok_or_else(|| {
                let folder = backup::folder(&config.database);
                Failure::usage(anyhow!("there is no copy of a day in {}", folder.display()))
            })?,
            _ => self.copy,
        };
        let aside = restore(&config.database, &copy, SystemClock.now())?;
        print(&format!("restored from {}\n", copy.display()))?;
        if let Some(aside) = aside {
            print(&format!("the file before is kept as {}\n", aside.display()))?;
        }
        let store = open_store(&config)?;
        let path = journal::path_beside(&config.database);
        let matched = store
            .write(move |t| journal::match_up(t, &path, now))
            .await
            .map_err(|error: JournalError| anyhow::Error::from(error))
            .context("learn from the journal what was told since the copy")?;
        match matched.learnt.as_slice() {
            [] => print("nobody was told anything since this copy, by the journal\n")?,
            learnt => {
                print("told since this copy; it stays told and is not told again:\n")?;
                for mail in learnt {
                    print(&format!(
                        "  {}  {} to {}\n",
                        mail.day, mail.kind, mail.person
                    ))?;
                }
            }
        }
        match matched.missing {
            None => print("nothing is missing: the records have all that mails rested on\n"),
            Some(missing) => print(&format!(
                "{}\nUntil they are back growers are told nothing: import the sheets since then again. Where they are \
                 lost for good, see `duskflight accept-records`\n",
                config.words.missing_records(&missing)
            )),
        }
    }
}
