//! The mail server as declared in `[mail.smtp]`.

use std::time::Duration;

use rustls::pki_types::CertificateDer;
use serde::Deserialize;

use super::problem::Problem;
use crate::secret::Secret;

/// A mail server that takes our mails.
#[derive(Debug, Clone)]
pub struct SmtpServer {
    /// Its name or address; its certificate must be made out to it.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// How the connection is protected.
    pub security: Security,
    /// Who we are to the server.
    pub login: Option<Login>,
    /// The only roots trusted; `None` trusts what the system trusts.
    pub ca: Option<Vec<CertificateDer<'static>>>,
    /// How long its answers are waited for.
    pub patience: Patience,
}

/// The longest wait for a mail server, step by step (RFC 5321, 4.5.3.2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// For a connection and its greeting.
    pub greeting: Duration,
    /// For the answer to a command.
    pub command: Duration,
    /// For the word that a message may begin.
    pub data: Duration,
    /// For a block of a message to leave.
    pub block: Duration,
    /// For the server's word on a message whose final dot it has. Whoever gives up earlier does not know whether the
    /// mail was taken, and doubles it by trying again.
    pub after_dot: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        let minutes = |minutes: u64| Duration::from_secs(60 * minutes);
        Self {
            greeting: minutes(5),
            command: minutes(5),
            data: minutes(2),
            block: minutes(3),
            after_dot: minutes(10),
        }
    }
}

impl Patience {
    /// The same with each wait before the final dot no longer than a limit.
    #[must_use]
    pub fn at_most(self, limit: Duration) -> Self {
        Self {
            greeting: self.greeting.min(limit),
            command: self.command.min(limit),
            data: self.data.min(limit),
            block: self.block.min(limit),
            after_dot: self.after_dot,
        }
    }
}

/// Who we are to a mail server.
#[derive(Debug, Clone)]
pub struct Login {
    /// The user's name.
    pub username: String,
    /// The password, or why this process has none.
    pub password: Result<Secret, Problem>,
}

/// How a connection is protected. There is nothing in between: what is declared is done or the mail
/// is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Security {
    /// TLS from the first byte.
    Tls,
    /// Plain at first, then TLS before anything is said.
    Starttls,
    /// Plain.
    None,
}

impl Security {
    /// The port of a mail server that goes with it (RFC 8314, RFC 6409, RFC 5321).
    pub(super) const fn smtp_port(self) -> u16 {
        match self {
            Self::Tls => 465,
            Self::Starttls => 587,
            Self::None => 25,
        }
    }

    /// The port of a mailbox by IMAP that goes with it (RFC 8314, RFC 3501).
    pub(super) const fn imap_port(self) -> u16 {
        match self {
            Self::Tls => 993,
            Self::Starttls | Self::None => 143,
        }
    }
}
