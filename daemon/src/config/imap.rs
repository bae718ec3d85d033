//! The mailbox as declared in `[inbox.imap]`.

use std::time::Duration;

use rustls::pki_types::CertificateDer;

use super::problem::Problem;
use super::smtp::Security;
use crate::secret::Secret;

/// A mailbox from which answers are fetched by IMAP.
#[derive(Debug, Clone)]
pub struct ImapServer {
    /// The server's name or address; its certificate must be made out to it.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// How the connection is protected; `None` only on this machine.
    pub security: Security,
    /// The user's name.
    pub username: String,
    /// What proves that it is us.
    pub proof: Proof,
    /// The only roots trusted; `None` trusts what the system trusts.
    pub ca: Option<Vec<CertificateDer<'static>>>,
    /// The folder in which answers arrive.
    pub folder: String,
    /// The folder to which those are moved that are done.
    pub done_folder: String,
    /// How long an answer of the server is waited for.
    pub patience: Duration,
}

/// What proves to a mailbox who we are.
#[derive(Debug, Clone)]
pub enum Proof {
    /// A password, or why this process has none.
    Password(Result<Secret, Problem>),
    /// A command, run without a shell, whose first line of output is an access token for SASL XOAUTH2.
    TokenCommand(Vec<String>),
}
