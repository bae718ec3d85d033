//! Why answers could not be fetched, and what mends it.

use std::io;
use std::time::Duration;

use crate::store::StoreError;
use crate::tls;

/// Words of a server that ask for patience, not for mending (RFC 5530).
const PASSING: [&str; 4] = ["[UNAVAILABLE]", "[INUSE]", "[LIMIT]", "[SERVERBUG]"];

/// Answers could not be fetched from a mailbox.
#[derive(Debug, thiserror::Error)]
#[error("fetch answers from {place}: {why}")]
pub struct ImapError {
    /// Host and port.
    pub place: String,
    /// Why, with what mends it.
    pub why: Why,
}

impl ImapError {
    /// Whether somebody must mend something; all else may pass by itself.
    #[must_use]
    pub fn is_lasting(&self) -> bool {
        match &self.why {
            Why::Certificate(_)
            | Why::NoStarttls(_)
            | Why::ReadAhead
            | Why::Known
            | Why::NoPassword(_)
            | Why::NoLogin
            | Why::NoFolder { .. }
            | Why::NoDoneFolder { .. } => true,
            Why::Login(said) => !PASSING.iter().any(|code| said.contains(code)),
            Why::NoConnection(_)
            | Why::Tls(_)
            | Why::Token(_)
            | Why::Refused { .. }
            | Why::Silence(_)
            | Why::HungUp(_)
            | Why::Broken(_)
            | Why::NoAnswer
            | Why::TooMuch
            | Why::Records(_) => false,
        }
    }
}

/// What went wrong.
#[derive(Debug, thiserror::Error)]
pub enum Why {
    /// No connection came about.
    #[error("no connection: {0}")]
    NoConnection(io::Error),
    /// The certificate proves nothing to us.
    #[error(
        "its certificate is not trusted: {0}; write the host that it is made out to, or name its authority in ca_file"
    )]
    Certificate(rustls::Error),
    /// TLS failed otherwise.
    #[error("no private connection: {0}")]
    Tls(String),
    /// It takes no STARTTLS.
    #[error("it refuses STARTTLS ({0}); write security = \"tls\" and its port, usually 993")]
    NoStarttls(String),
    /// It, or somebody on the way, had said more in clear than could be believed.
    #[error(
        "more stood in clear behind its word that TLS may begin; somebody on the way may have put it there"
    )]
    ReadAhead,
    /// It takes us for somebody before we have said who we are.
    #[error("it takes us for somebody before we have logged in; such a mailbox is not read")]
    Known,
    /// This process has no password.
    #[error("{0}")]
    NoPassword(String),
    /// The command that should give a token gave none.
    #[error("no token: {0}; run token_command by hand as the service's user")]
    Token(String),
    /// It offers no login that we know.
    #[error("it offers no login by name and password; a provider may want token_command instead")]
    NoLogin,
    /// It does not believe that it is us.
    #[error(
        "the login was refused: {0}; mend username, password or token_command (some accounts want an app password, or IMAP switched on)"
    )]
    Login(String),
    /// The folder in which answers arrive cannot be opened.
    #[error("the folder {folder:?} cannot be opened: {said}; mend folder in [inbox.imap]")]
    NoFolder {
        /// The folder.
        folder: String,
        /// What the server said.
        said: String,
    },
    /// The folder for what is done can neither be opened nor made.
    #[error(
        "the folder {folder:?} can neither be opened nor made: {said}; make it, or write another done_folder in \
         [inbox.imap], on some servers \"INBOX.{folder}\""
    )]
    NoDoneFolder {
        /// The folder.
        folder: String,
        /// What the server said.
        said: String,
    },
    /// It refuses something else.
    #[error("it refused to {what}: {said}")]
    Refused {
        /// What was asked.
        what: &'static str,
        /// What the server said.
        said: String,
    },
    /// It said nothing for so long.
    #[error("it did not answer within {} s", .0.as_secs())]
    Silence(Duration),
    /// It ended the connection, with these words if any.
    #[error("it hung up{0}")]
    HungUp(String),
    /// The connection broke.
    #[error("the connection broke: {0}")]
    Broken(io::Error),
    /// It said what is no IMAP.
    #[error("it said what is no answer")]
    NoAnswer,
    /// It sends more than was asked for.
    #[error("it sends more than was asked for")]
    TooMuch,
    /// The records could not be read or written.
    #[error("the records: {0}")]
    Records(#[from] StoreError),
}

impl Why {
    /// What an error on a connection means. What did not parse is not repeated: it may be people's mail.
    pub(super) fn on_the_way(error: io::Error) -> Self {
        match tls::error_in(&error) {
            Some(rustls::Error::InvalidCertificate(fault)) => {
                return Self::Certificate(rustls::Error::InvalidCertificate(fault.clone()));
            }
            Some(fault) => return Self::Tls(fault.to_string()),
            None => {}
        }
        match error.kind() {
            io::ErrorKind::QuotaExceeded => Self::TooMuch,
            io::ErrorKind::Other => Self::NoAnswer,
            io::ErrorKind::UnexpectedEof => Self::HungUp(String::new()),
            _ => Self::Broken(error),
        }
    }
}
