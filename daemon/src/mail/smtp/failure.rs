//! Why a talk with a mail server ended before the mail was taken, and what that means.

use std::io;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use lettre::address::AddressError;

use super::wire::{Reply, WireError};
use crate::config::{Login, SmtpServer};
use crate::mail::reply_class::{self, Phase, ReplyClass, classify};
use crate::mail::send_error::SendError;
use crate::redact::redact;
use crate::tls;

/// Why a talk ended before the mail was taken.
pub(super) enum Broken {
    /// No reply.
    Wire(WireError),
    /// A reply that says no.
    Refused(Reply),
    /// A reply that belongs elsewhere.
    OutOfTurn(Reply),
    /// No connection.
    Reach(io::Error),
    /// Nothing to make it private with.
    Tls(rustls::Error),
    /// The server does not offer what we need.
    Missing {
        what: &'static str,
        advice: &'static str,
    },
    /// There is no password.
    Password(String),
    /// An address that cannot be used.
    Address(AddressError),
}

impl From<WireError> for Broken {
    fn from(error: WireError) -> Self {
        Self::Wire(error)
    }
}

/// Not every friendly reply is the one that was waited for: only one that begins with 2 means "done".
pub(super) fn meant(reply: Reply, first_digit: u16) -> Result<Reply, Broken> {
    match reply.code / 100 {
        digit if digit == first_digit => Ok(reply),
        4 | 5 => Err(Broken::Refused(reply)),
        _ => Err(Broken::OutOfTurn(reply)),
    }
}

/// A clear refusal leaves no doubt; silence or a broken connection after the final dot does.
pub(super) fn judged(broken: Broken, phase: Phase, server: &SmtpServer) -> SendError {
    let may_be_taken = phase == Phase::Dot && !matches!(broken, Broken::Refused(_));
    let closing = matches!(&broken, Broken::Refused(reply) if reply.code == 421);
    let phase = match tls_error(&broken) {
        Some(_) => phase.max(Phase::Tls),
        None => phase,
    };
    let (class, what) = explained(broken, phase);
    let ours = matches!(class, ReplyClass::OurFault { .. });
    let place = format!("{}:{}", server.host, server.port);
    SendError {
        class,
        // Whatever fails before a recipient is named would befall every mail, except a passing refusal of
        // the sender. A closing server is closing for all.
        of_all: closing || phase < Phase::Sender || (phase == Phase::Sender && ours),
        reason: format!("{phase} ({place}): {}", redact(&what, &secrets(server))),
        may_be_taken,
    }
}

fn explained(broken: Broken, phase: Phase) -> (ReplyClass, String) {
    if let Some(error) = tls_error(&broken) {
        let advice = match error {
            rustls::Error::InvalidCertificate(_) => reply_class::CERTIFICATE,
            _ => reply_class::HANDSHAKE,
        };
        return (ReplyClass::OurFault { advice }, error.to_string());
    }
    match broken {
        Broken::Wire(error) => (ReplyClass::TryAgain, wire_words(&error)),
        Broken::Refused(reply) => (
            classify(phase, reply.code, &reply.text()),
            format!("the server said {}", reply.words()),
        ),
        Broken::OutOfTurn(reply) => (
            ReplyClass::TryAgain,
            format!("the server said out of turn {}", reply.words()),
        ),
        Broken::Reach(error) => (ReplyClass::TryAgain, error.to_string()),
        Broken::Tls(error) => (ReplyClass::TryAgain, error.to_string()),
        Broken::Missing { what, advice } => (ReplyClass::OurFault { advice }, what.to_owned()),
        Broken::Password(what) => {
            let advice = "give the service its password, see [mail.smtp]";
            (ReplyClass::OurFault { advice }, what)
        }
        // The configuration checks addresses; one in the outbox may be older than the check.
        Broken::Address(error) => (ReplyClass::Refused, error.to_string()),
    }
}

fn wire_words(error: &WireError) -> String {
    match error {
        WireError::Broken(error) => error.to_string(),
        WireError::HungUp => "the server hung up".to_owned(),
        WireError::Silence(patience) => {
            let seconds = patience.as_secs();
            format!("the server did not answer within {seconds} s")
        }
        WireError::NoReply(line) => format!("the server said what is no reply: {line}"),
    }
}

/// The TLS library's own error, inside that of the connection.
fn tls_error(broken: &Broken) -> Option<&rustls::Error> {
    match broken {
        Broken::Wire(WireError::Broken(error)) => tls::error_in(error),
        Broken::Tls(error) => Some(error),
        _ => None,
    }
}

/// The password in every form in which it is sent.
pub(super) fn secrets(server: &SmtpServer) -> Vec<String> {
    let Some(Login {
        username,
        password: Ok(password),
    }) = &server.login
    else {
        return Vec::new();
    };
    let plain = password.expose();
    let both = format!("\0{username}\0{plain}");
    vec![
        STANDARD.encode(&both),
        STANDARD.encode(plain),
        plain.to_owned(),
    ]
}
