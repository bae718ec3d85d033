//! The mail server as declared in `[mail.smtp]`.

use std::time::Duration;

use lettre::transport::smtp::client::Certificate;
use serde::Deserialize;

use super::problem::Problem;
use super::secret::Secret;

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
    /// The only root trusted; `None` trusts what the system trusts.
    pub ca: Option<Certificate>,
    /// The longest that one mail may take, from connecting to the server's last word.
    pub timeout: Duration,
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
    /// The port that goes with it (RFC 8314, RFC 6409, RFC 5321).
    pub(super) const fn port(self) -> u16 {
        match self {
            Self::Tls => 465,
            Self::Starttls => 587,
            Self::None => 25,
        }
    }
}
