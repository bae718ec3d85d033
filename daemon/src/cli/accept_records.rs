//! `duskflight accept-records`: what follows when missing records are lost for good, and saying so.

use anyhow::Context;
use clap::Args;
use duskflight_core::id::PersonId;
use duskflight_core::ledger::Notice;
use duskflight_core::wording::plural;

use super::Failure;
use super::common::{AsOf, ConfigDir, few_words, open_store, print};
use crate::config::Config;
use crate::store::entered;
use crate::store::journal::{self, JournalError};
use crate::telling::waiting::name;
use crate::telling::{Night, TellError, night, would_take_back};

/// Show what would be taken back if missing records are lost for good, and accept it with --yes
///
/// While records are missing that mails rested on, growers are told nothing. Nothing needs to be accepted where a
/// newer copy can be put back or sheets imported again.
#[derive(Debug, Args)]
pub(super) struct AcceptRecords {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Accept the records as they are: from the next morning on they decide what is told
    #[arg(long)]
    yes: bool,
    /// Who accepts it
    #[arg(long, value_name = "NAME", requires = "yes", default_value = "", value_parser = few_words)]
    by: String,
}

impl AcceptRecords {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let store = open_store(&config)?;
        let journal = journal::path_beside(&config.database);
        let missing = store.read(move |c| journal::missing(c, &journal)).await;
        let missing = missing.map_err(|error: JournalError| anyhow::Error::from(error))?;
        let Some(missing) = missing else {
            return print("nothing is missing: the records have all that mails rested on\n");
        };
        print(&format!("{}\n", config.words.missing_records(&missing)))?;
        let (day, now) = self.as_of.moment(&config);
        let of = config.clone();
        let lines = store.read(move |c| {
            let night = night(c, &of, day)?;
            let taken_back = would_take_back(c, &of, &night, now)?;
            Ok::<_, TellError>(lines(&of, &night, &taken_back))
        });
        let lines = lines.await.context("see what would be taken back")?;
        print(&format!(
            "taken as they are, {} would be taken back{}\n",
            plural(lines.len(), "date"),
            lines.concat()
        ))?;
        if !self.yes {
            return print("nothing is changed; to accept it: duskflight accept-records --yes\n");
        }
        let by = self.by;
        let accepted = store.write(move |t| entered::accept(t, &by, now)).await;
        accepted.context("accept the records")?;
        print("accepted: the next telling goes by the records as they are\n")
    }
}

/// Each date that would be taken back, by person and block.
fn lines(config: &Config, night: &Night, taken_back: &[(PersonId, Notice)]) -> Vec<String> {
    let line = |(person, notice): &(PersonId, Notice)| {
        let mut seasons = night.seasons.iter();
        let season = seasons
            .find(|season| season.block.id == notice.block && season.insect == notice.insect)?;
        Some(format!(
            "\n  {}, {}: {}",
            name(config, person),
            season.block.name,
            config.words.sentence(notice, season)
        ))
    };
    taken_back.iter().filter_map(line).collect()
}
