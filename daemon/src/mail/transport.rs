//! The ways a mail can go.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::folder::{file_stem, put};
use super::reply_class::ReplyClass;
use super::send_error::SendError;
use super::smtp::{self, Talk};
use crate::config::{Config, MailRoute, SmtpServer};
use crate::feed::Heard;
use crate::store::outbox::Waiting;

/// Where mails go.
#[derive(Debug, Clone)]
pub enum Transport {
    /// Into a folder, one `.eml` file each.
    Folder(PathBuf),
    /// To a mail server.
    Smtp {
        /// The server.
        server: Box<SmtpServer>,
        /// The address that mails come from.
        sender: String,
        /// Where the time goes that the server says.
        heard: Arc<Heard>,
    },
    /// Nowhere: every mail counts as taken over, for a replay on a copy of the records.
    TakesAll,
}

impl Transport {
    /// The way that is declared. `heard`: where the time goes that a server says.
    #[must_use]
    pub fn of(config: &Config, heard: &Arc<Heard>) -> Self {
        match &config.mail_route {
            MailRoute::Folder(folder) => Self::Folder(folder.clone()),
            MailRoute::Smtp(server) => Self::Smtp {
                server: Box::new(server.clone()),
                sender: config.mail_from.address.clone(),
                heard: Arc::clone(heard),
            },
        }
    }

    /// Tries the way without a mail: writes and removes a file, or connects and logs in. Gives words on
    /// what was tried.
    ///
    /// # Errors
    /// [`SendError`], as a mail would meet it.
    pub async fn try_out(&self) -> Result<String, SendError> {
        match self {
            Self::Folder(folder) => {
                let tried = put(folder, ".try", b"")
                    .and_then(|()| std::fs::remove_file(folder.join(".try")));
                tried.map_err(|error| cannot_write(folder, &error))?;
                Ok(format!("the folder {} can be written", folder.display()))
            }
            Self::Smtp { server, heard, .. } => smtp::try_out(server, heard).await,
            Self::TakesAll => Ok("every mail is taken".to_owned()),
        }
    }

    /// Whether it leads to a server whose word on the time is heeded.
    #[must_use]
    pub fn tells_time(&self) -> bool {
        matches!(self, Self::Smtp { server, .. } if Heard::heeds(&server.host))
    }

    /// Asks the server for the time alone, where its word is heeded.
    pub async fn ask_time(&self) {
        if let Self::Smtp { server, heard, .. } = self
            && self.tells_time()
        {
            smtp::ask_time(server, heard).await;
        }
    }

    /// Begins a round of mails.
    pub(super) fn round(&self) -> Round<'_> {
        match self {
            Self::Folder(folder) => Round::Folder(folder),
            Self::Smtp {
                server,
                sender,
                heard,
            } => Round::Smtp(Talk::new(server, sender, heard)),
            Self::TakesAll => Round::TakesAll,
        }
    }
}

/// The mails of one round on their way.
pub(super) enum Round<'a> {
    Folder(&'a Path),
    Smtp(Talk<'a>),
    TakesAll,
}

impl Round<'_> {
    /// Hands a mail over, to its one recipient, unchanged; gives the words with which it was taken.
    ///
    /// # Errors
    /// [`SendError`] with what it means for this and the other mails.
    pub(super) async fn send(&mut self, mail: &Waiting) -> Result<String, SendError> {
        match self {
            Self::Folder(folder) => {
                let stem = file_stem(&mail.identity());
                let name = format!("{stem}.eml");
                put(folder, &name, &mail.body).map_err(|error| cannot_write(folder, &error))?;
                Ok(format!("written as {name}"))
            }
            Self::Smtp(talk) => talk.send(mail).await,
            Self::TakesAll => Ok("taken in a replay".to_owned()),
        }
    }

    /// Ends the round.
    pub(super) async fn close(self) {
        if let Self::Smtp(talk) = self {
            talk.close().await;
        }
    }
}

fn cannot_write(folder: &Path, error: &io::Error) -> SendError {
    SendError {
        class: ReplyClass::TryAgain,
        of_all: true,
        reason: format!("write into the mail folder {}: {error}", folder.display()),
        may_be_taken: false,
    }
}
