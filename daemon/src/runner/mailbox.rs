//! Answers out of a mailbox: looked through, then waited for.

use std::sync::Arc;
use std::time::Duration;

use chrono::NaiveDate;
use tokio::sync::Notify;
use tokio::time::sleep;

use super::jobs::Workshop;
use super::operator::{self, Matter};
use crate::config::ImapServer;
use crate::error_chain::error_chain;
use crate::inbox::Counter;
use crate::inbox::folder::Seen;
use crate::inbox::imap::{ImapError, Session};
use crate::mail::mark::ANSWERED_FOR;
use crate::records::Pauses;
use crate::store::StoreError;

/// How long one waits for something to come before the mailbox is opened anew.
const WAITS: Duration = Duration::from_secs(9 * 60);
/// Before it is tried again where that may help by itself, and where somebody must mend something: a server locks
/// out whoever comes with a wrong password too often.
const SOON: Duration = Duration::from_secs(2 * 60);
const LATER: Duration = Duration::from_secs(15 * 60);

impl Workshop {
    /// Looks through the mailbox, queues receipts, and waits until something more comes. Where the mailbox cannot be
    /// used, that is noted and a while let pass.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub(super) async fn look_after_mailbox(
        &self,
        server: &ImapServer,
        nudge: &Arc<Notify>,
    ) -> Result<(), StoreError> {
        match self.collect(server, nudge).await {
            Ok(mut session) => {
                self.note_mailbox(None).await?;
                // What ended the wait is met again at the next look.
                let _ = session.wait(WAITS).await;
                session.close().await;
                nudge.notify_one();
            }
            Err(MailboxError::Store(error)) => return Err(error),
            Err(MailboxError::Imap(error)) => {
                let (lasting, error) = (error.is_lasting(), error_chain(&error));
                tracing::warn!(error, "answers cannot be fetched");
                self.note_mailbox(Some(error)).await?;
                sleep(if lasting { LATER } else { SOON }).await;
            }
        }
        Ok(())
    }

    /// Looks through the mailbox until there is nothing more, with receipts for all that was taken.
    async fn collect(
        &self,
        server: &ImapServer,
        nudge: &Arc<Notify>,
    ) -> Result<Session, MailboxError> {
        let counter = self.counter();
        let today = self.config.day_of(self.clock.now());
        // In a folder that was never seen, older messages are none of ours.
        let since = today.checked_sub_days(ANSWERED_FOR).unwrap_or(today);
        let mut session = Session::open(server).await?;
        let collected = collect_all(&mut session, &counter, since).await;
        // Once for all that waited, also of what was taken before an error.
        if counter.write_receipts().await? > 0 {
            nudge.notify_one();
        }
        collected?;
        Ok(session)
    }

    /// Takes what has come in by now, from the folder and the mailbox, for whoever does a night's work by hand.
    ///
    /// # Errors
    /// When the folder, the mailbox or the records cannot be used.
    pub async fn take_all_answers(&self) -> anyhow::Result<()> {
        self.take_answers(&mut Seen::default(), Pauses::ONCE)
            .await?;
        let inbox = self.config.inbox.as_ref();
        if let Some(server) = inbox.and_then(|inbox| inbox.imap.as_ref()) {
            self.collect(server, &Arc::default()).await?.close().await;
        }
        Ok(())
    }

    async fn note_mailbox(&self, error: Option<String>) -> Result<(), StoreError> {
        let config = Arc::clone(&self.config);
        self.store
            .write_at(&self.clock, move |t, now| {
                operator::note(t, &config, Matter::Mailbox, error.as_deref(), now)
            })
            .await
    }
}

/// Looks until there is nothing more.
async fn collect_all(
    session: &mut Session,
    counter: &Counter,
    since: NaiveDate,
) -> Result<(), ImapError> {
    loop {
        let collected = session.collect(counter, since).await?;
        if collected.done > 0 {
            tracing::info!(answers = collected.done, "answers fetched");
        }
        if !collected.more {
            return Ok(());
        }
    }
}

/// Why a look through the mailbox ended early.
#[derive(Debug, thiserror::Error)]
enum MailboxError {
    #[error(transparent)]
    Imap(#[from] ImapError),
    #[error(transparent)]
    Store(#[from] StoreError),
}
