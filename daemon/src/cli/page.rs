//! `duskflight page`: who may come in at the page.

use std::path::Path;

use clap::{Args, Subcommand};
use duskflight_core::id::PersonId;

use super::Failure;
use super::common::{ConfigDir, note, open_store, plain_table, print, store_to_read};
use crate::clock::{Clock, SystemClock};
use crate::config::{Config, Person};
use crate::page::Code;
use crate::store::{StoreError, doors};

/// The page: who may come in
#[derive(Debug, Subcommand)]
pub(super) enum Page {
    /// Make a code with which somebody sets their password; the one before is void
    Code(MakeCode),
    /// End the sessions of a person, or of everybody: they have to sign in again
    EndSessions(EndSessions),
    /// List who has a password, and when they signed in last
    People(People),
}

#[derive(Debug, Args)]
pub(super) struct MakeCode {
    /// The person's id in duskflight.toml
    person: PersonId,
    #[command(flatten)]
    config: ConfigDir,
}

#[derive(Debug, Args)]
pub(super) struct EndSessions {
    /// The person's id [default: everybody]
    person: Option<PersonId>,
    #[command(flatten)]
    config: ConfigDir,
}

#[derive(Debug, Args)]
pub(super) struct People {
    #[command(flatten)]
    config: ConfigDir,
}

impl Page {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::Code(code) => code.run().await,
            Self::EndSessions(end) => end.run().await,
            Self::People(people) => people.run().await,
        }
    }
}

impl MakeCode {
    async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let person = declared(&config, &self.person)?;
        let store = open_store(&config)?;
        let code = Code::random().map_err(anyhow::Error::from)?;
        let now = SystemClock.now();
        let (id, hash) = (self.person, code.hash());
        let kept: Result<(), StoreError> = store
            .write(move |t| doors::set_code(t, &id, &hash, now))
            .await;
        kept?;
        let until = config.moment_words(now + doors::CODE_KEPT);
        print(&format!(
            "{code}\n\n{} sets a password with it at /first-password of the page, as {}. It is good once, until {until}.\n",
            person.name, person.id
        ))?;
        if config.page.is_none() {
            note(no_page(self.config.path()));
        }
        Ok(())
    }
}

impl EndSessions {
    async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        // Somebody may have been taken out of the configuration already.
        if let Some(person) = &self.person
            && config.person(person).is_none()
        {
            note(format!("{person} is not declared"));
        }
        let store = open_store(&config)?;
        let ended: Result<usize, StoreError> = store
            .write(move |t| doors::end_sessions(t, self.person.as_ref()))
            .await;
        print(&match ended? {
            0 => "There was no session.\n".to_owned(),
            1 => "One session was ended.\n".to_owned(),
            many => format!("{many} sessions were ended.\n"),
        })
    }
}

impl People {
    async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let store = store_to_read(&config)?;
        let ids: Vec<PersonId> = config.people.iter().map(|p| p.id.clone()).collect();
        let read = store.read(move |c| {
            let sessions = ids.iter().map(|id| doors::sessions_of(c, id));
            Ok((doors::keys(c)?, sessions.collect::<Result<Vec<_>, _>>()?))
        });
        let (keys, sessions): (Vec<doors::Key>, Vec<u32>) = read
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))?;
        let mut table = plain_table([
            "person",
            "name",
            "password set",
            "signed in last",
            "sessions",
        ]);
        let words = |at| config.moment_words(at);
        for (person, sessions) in config.people.iter().zip(sessions) {
            let key = keys.iter().find(|key| key.person == person.id);
            let none = || "-".to_owned();
            table.add_row([
                person.id.to_string(),
                person.name.clone(),
                key.map_or_else(none, |key| words(key.set_at)),
                key.and_then(|key| key.signed_in_at)
                    .map_or_else(none, words),
                sessions.to_string(),
            ]);
        }
        print(&format!("{table}\n"))?;
        if config.page.is_none() {
            note(no_page(self.config.path()));
        }
        Ok(())
    }
}

fn no_page(dir: &Path) -> String {
    let file = dir.join(crate::config::MAIN_FILE);
    format!(
        "there is no page yet: give listen in [page] of {}",
        file.display()
    )
}

/// The person that an argument names.
fn declared<'a>(config: &'a Config, id: &PersonId) -> Result<&'a Person, Failure> {
    config.person(id).ok_or_else(|| {
        let ids: Vec<&str> = config
            .people
            .iter()
            .map(|person| person.id.as_str())
            .collect();
        let ids = ids.join(", ");
        Failure::usage(anyhow::anyhow!("{id}: no such person; there are {ids}"))
    })
}
