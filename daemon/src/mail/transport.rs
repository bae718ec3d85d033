//! The ways a mail can go, and how a try fails.

use std::io;
use std::path::{Path, PathBuf};

use super::folder::{file_stem, put};
use super::reply_class::ReplyClass;
use super::smtp;
use crate::config::{Config, MailRoute, SmtpServer};
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
    },
    /// Nowhere: every mail counts as taken over, for a replay on a copy of the records.
    TakesAll,
}

/// Why a mail could not be handed over.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct SendError {
    /// What it means.
    pub class: ReplyClass,
    /// Whether it would befall every other mail, too.
    pub of_all: bool,
    /// What happened, without addresses and secrets.
    pub reason: String,
    /// Whether the mail may have been taken all the same, without our hearing of it.
    pub may_be_taken: bool,
}

impl SendError {
    /// What to mend, where it is ours to mend.
    #[must_use]
    pub const fn advice(&self) -> Option<&'static str> {
        match self.class {
            ReplyClass::OurFault { advice } => Some(advice),
            _ => None,
        }
    }

    /// What happened and what to mend.
    #[must_use]
    pub fn words(&self) -> String {
        match self.advice() {
            Some(advice) => format!("{}; {advice}", self.reason),
            None => self.reason.clone(),
        }
    }
}

impl Transport {
    /// The way that is declared.
    #[must_use]
    pub fn of(config: &Config) -> Self {
        match &config.mail_route {
            MailRoute::Folder(folder) => Self::Folder(folder.clone()),
            MailRoute::Smtp(server) => Self::Smtp {
                server: Box::new(server.clone()),
                sender: config.mail_from.address.clone(),
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
            Self::Smtp { server, .. } => smtp::try_out(server).await,
            Self::TakesAll => Ok("every mail is taken".to_owned()),
        }
    }

    /// Hands a mail over, to its one recipient, unchanged; gives the words with which it was taken.
    ///
    /// # Errors
    /// [`SendError`] with what it means for this and the other mails.
    pub async fn send(&self, mail: &Waiting) -> Result<String, SendError> {
        match self {
            Self::Folder(folder) => {
                let stem = file_stem(&mail.identity());
                let name = format!("{stem}.eml");
                put(folder, &name, &mail.body).map_err(|error| cannot_write(folder, &error))?;
                Ok(format!("written as {name}"))
            }
            Self::Smtp { server, sender } => smtp::send(server, sender, mail).await,
            Self::TakesAll => Ok("taken in a replay".to_owned()),
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
