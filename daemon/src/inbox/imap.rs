//! Answers fetched from a mailbox by IMAP, each handed over once, and filed away where it is done.

mod connect;
mod folder;
mod meter;
mod talk;
mod token;
mod why;

use std::time::Duration;

use chrono::NaiveDate;
use tokio::time::{sleep, timeout};

pub use self::why::{ImapError, Why};

use self::connect::Offers;
use self::talk::Talk;
use super::take::Taker;
use crate::config::{ImapServer, Security};

/// The longest wait on one command: servers end connections that were silent for half an hour (RFC 2177).
const LONGEST_WAIT: Duration = Duration::from_secs(28 * 60);
/// How long one waits where the server does not say when something comes.
const BETWEEN_LOOKS: Duration = Duration::from_secs(2 * 60);
/// A goodbye is not waited for any longer.
const GOODBYE: Duration = Duration::from_secs(2);

/// What one look through a mailbox brought.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Collected {
    /// How many messages were handed over.
    pub taken: usize,
    /// How many of them were answers, and are flagged and moved.
    pub done: usize,
    /// Whether there are more: one look is bounded.
    pub more: bool,
}

/// A mailbox that is open.
pub struct Session {
    server: ImapServer,
    talk: Talk,
    offers: Offers,
    /// The folder that is open.
    selected: Option<String>,
    /// Whether this session has not looked for answers yet.
    fresh: bool,
}

impl Session {
    /// Connects and logs in.
    ///
    /// # Errors
    /// [`ImapError`], which says what to mend.
    pub async fn open(server: &ImapServer) -> Result<Self, ImapError> {
        let (talk, offers) = connect::open(server).await.map_err(|why| at(server, why))?;
        Ok(Self {
            server: server.clone(),
            talk,
            offers,
            selected: None,
            fresh: true,
        })
    }

    /// Looks through both folders once: first through what was done before and is not known (of a database put back
    /// from a copy, or just moved), then for new answers. Of a folder that was never seen, or was numbered anew, only
    /// new messages that came on `since` or later are looked at. After an error the session is to be opened anew.
    ///
    /// # Errors
    /// [`ImapError`], which says what to mend.
    pub async fn collect(
        &mut self,
        taker: &impl Taker,
        since: NaiveDate,
    ) -> Result<Collected, ImapError> {
        let collected = self.look_through(taker, since).await;
        collected.map_err(|why| at(&self.server, why))
    }

    /// Waits until something comes, for `at_most` so long; where the server does not say so, for two minutes. Not to be
    /// called while there is more to collect. The future may be dropped, and the session used on.
    ///
    /// # Errors
    /// [`ImapError`]: the session is to be opened anew.
    pub async fn wait(&mut self, at_most: Duration) -> Result<(), ImapError> {
        if !self.offers.idles {
            sleep(at_most.min(BETWEEN_LOOKS)).await;
            return Ok(());
        }
        let waited = self.wait_for_news(at_most.min(LONGEST_WAIT)).await;
        waited.map_err(|why| at(&self.server, why))
    }

    /// Where it is and what protects it, in words. Nothing is looked at, made or moved for that.
    #[must_use]
    pub fn words(&self) -> String {
        let private = match self.server.security {
            Security::None => "without encryption",
            Security::Tls | Security::Starttls => "encrypted",
        };
        let news = match self.offers.idles {
            true => "new mail is heard of at once",
            false => "new mail is looked for every two minutes",
        };
        let (host, port) = (&self.server.host, self.server.port);
        format!("{host}:{port} answers, {private}, logged in; {news}")
    }

    /// Says goodbye.
    pub async fn close(mut self) {
        // Whatever comes of it, nothing is left to do.
        let _ = timeout(GOODBYE, self.talk.ask("LOGOUT", |_| {})).await;
    }

    async fn wait_for_news(&mut self, at_most: Duration) -> Result<(), Why> {
        let folder = self.server.folder.clone();
        if self.selected.as_ref() != Some(&folder) {
            // What came meanwhile is looked for instead of being waited for.
            return Ok(());
        }
        if self.talk.news {
            return Ok(());
        }
        self.talk.idle(at_most).await
    }
}

fn at(server: &ImapServer, why: Why) -> ImapError {
    let place = format!("{}:{}", server.host, server.port);
    ImapError { place, why }
}
