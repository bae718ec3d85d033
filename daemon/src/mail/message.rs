//! From a subject and two bodies to the bytes of one message; equal input gives equal bytes.

use std::time::SystemTime;

use chrono::{DateTime, FixedOffset};
use lettre::Message;
use lettre::address::AddressError;
use lettre::message::header::{
    ContentTransferEncoding, ContentType, Header, HeaderName, HeaderValue,
};
use lettre::message::{Body, MultiPart, SinglePart};
use sha2::{Digest as _, Sha256};

use super::one_line::{one_line, shortened};

/// Longer message ids are refused: a header line must stay below 998 characters (RFC 5322).
const LONGEST_MESSAGE_ID: usize = 250;

/// Longer names are cut in headers: an unbroken one would not fold, and lists show less.
const LONGEST_NAME: usize = 70;

/// A name with its mail address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mailbox<'a> {
    /// What people call them.
    pub name: &'a str,
    /// `local@domain`.
    pub address: &'a str,
}

/// What a mail needs besides its contents.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Envelope<'a> {
    /// The farm's name.
    pub farm: &'a str,
    /// Printed prominently, such as that the farm is invented.
    pub farm_note: Option<&'a str>,
    /// The sender.
    pub from: Mailbox<'a>,
    /// The one recipient.
    pub to: Mailbox<'a>,
    /// A person who reads replies.
    pub reply_to: Option<Mailbox<'a>>,
    /// The whole id, `<left@right>`; the same on every try.
    pub message_id: &'a str,
    /// The instant of telling.
    pub date: DateTime<FixedOffset>,
    /// The same in words, with the zone: `Jun 20, 2022, 06:00 PDT`.
    pub as_of: &'a str,
}

/// A mail ready for the outbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Composed {
    /// The subject.
    pub subject: String,
    /// The text part.
    pub text: String,
    /// The HTML part.
    pub html: String,
    /// The whole message, to be sent unchanged.
    pub bytes: Vec<u8>,
}

/// A mail that cannot be composed.
#[derive(Debug, thiserror::Error)]
pub enum ComposeError {
    /// A template failed.
    #[error("fill in the template of the {mail}")]
    Template {
        /// Which mail.
        mail: &'static str,
        /// What went wrong.
        source: askama::Error,
    },
    /// An address cannot be used.
    #[error("use {address:?} as the {role} address of a mail")]
    Address {
        /// `sender`, `recipient` or `reply`.
        role: &'static str,
        /// The address.
        address: String,
        /// What is wrong with it.
        source: AddressError,
    },
    /// A message id cannot be used.
    #[error(
        "use {0:?} as a message id: it must read <left@right>, in at most {LONGEST_MESSAGE_ID} printable ASCII characters"
    )]
    MessageId(String),
    /// The message cannot be put together.
    #[error("put the message {message_id} together")]
    Message {
        /// Its id.
        message_id: String,
        /// What went wrong.
        source: lettre::error::Error,
    },
}

/// Puts one message together: the text first, then the same as HTML, both complete.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn assemble(
    envelope: &Envelope<'_>,
    subject: String,
    text: String,
    html: String,
) -> Result<Composed, ComposeError> {
    let id = checked_message_id(envelope.message_id)?;
    let mut message = Message::builder()
        .date(SystemTime::from(envelope.date))
        .message_id(Some(id.to_owned()))
        .from(mailbox(envelope.from, "sender")?)
        .to(mailbox(envelope.to, "recipient")?)
        .subject(one_line(&subject))
        .header(AutoSubmitted)
        .header(AutoResponseSuppress);
    if let Some(reply_to) = envelope.reply_to {
        message = message.reply_to(mailbox(reply_to, "reply")?);
    }
    let parts = MultiPart::alternative()
        .boundary(boundary(id))
        .singlepart(part(ContentType::TEXT_PLAIN, &text))
        .singlepart(part(ContentType::TEXT_HTML, &html));
    let message = message
        .multipart(parts)
        .map_err(|source| ComposeError::Message {
            message_id: id.to_owned(),
            source,
        })?;
    Ok(Composed {
        subject,
        text,
        html,
        bytes: message.formatted(),
    })
}

/// Quoted-printable keeps lines within 76 characters and text readable in the outbox. Line ends are made
/// here, since lettre inserts them one by one, which takes long for long mails.
fn part(kind: ContentType, content: &str) -> SinglePart {
    let encoding = ContentTransferEncoding::QuotedPrintable;
    let lines: Vec<&str> = content
        .split('\n')
        .map(|line| line.trim_end_matches('\r'))
        .collect();
    let body = Body::new_with_encoding(lines.join("\r\n"), encoding)
        .expect("only seven and eight bit refuse a body");
    SinglePart::builder().header(kind).body(body)
}

/// The boundary holds `=_`, which quoted-printable text never does (RFC 2045, 6.7), so no content
/// can contain it.
fn boundary(message_id: &str) -> String {
    let hash = Sha256::digest(message_id.as_bytes());
    let hex: String = hash[..16]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    format!("=_{hex}")
}

fn mailbox(
    mailbox: Mailbox<'_>,
    role: &'static str,
) -> Result<lettre::message::Mailbox, ComposeError> {
    let address = mailbox
        .address
        .parse()
        .map_err(|source| ComposeError::Address {
            role,
            address: mailbox.address.to_owned(),
            source,
        })?;
    let name = shortened(one_line(mailbox.name).trim(), LONGEST_NAME);
    let name = Some(name).filter(|name| !name.is_empty());
    Ok(lettre::message::Mailbox::new(name, address))
}

fn checked_message_id(id: &str) -> Result<&str, ComposeError> {
    let inner = id.strip_prefix('<').and_then(|id| id.strip_suffix('>'));
    let printable = |part: &str| {
        let allowed = |c: char| c.is_ascii_graphic() && !matches!(c, '<' | '>' | '@');
        !part.is_empty() && part.chars().all(allowed)
    };
    inner
        .and_then(|inner| inner.split_once('@'))
        .filter(|(left, right)| printable(left) && printable(right))
        .filter(|_| id.len() <= LONGEST_MESSAGE_ID)
        .map(|_| id)
        .ok_or_else(|| ComposeError::MessageId(id.to_owned()))
}

/// A header of ours whose value never changes.
macro_rules! fixed_header {
    ($(#[$doc:meta])* $type:ident, $name:literal, $value:literal) => {
        $(#[$doc])*
        #[derive(Clone)]
        struct $type;

        impl Header for $type {
            fn name() -> HeaderName {
                HeaderName::new_from_ascii_str($name)
            }

            fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
                Ok(Self)
            }

            fn display(&self) -> HeaderValue {
                HeaderValue::new(Self::name(), $value.to_owned())
            }
        }
    };
}

fixed_header!(
    /// Tells other programs that no person sent it (RFC 3834).
    AutoSubmitted,
    "Auto-Submitted",
    "auto-generated"
);
fixed_header!(
    /// Asks common mail servers for no absence note.
    AutoResponseSuppress,
    "X-Auto-Response-Suppress",
    "All"
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_id_must_be_whole_and_printable() {
        assert!(checked_message_id("<a.b@farm.example>").is_ok());
        let long = format!("<{}@farm.example>", "x".repeat(LONGEST_MESSAGE_ID));
        let bad = [
            "",
            "a@b",
            "<a>",
            "<@b>",
            "<a@>",
            "<a@b@c>",
            "<a b@c>",
            "<a@b>\r\nBcc: <x@y>",
            &long,
        ];
        for id in bad {
            assert!(checked_message_id(id).is_err(), "{id:?} was accepted");
        }
    }
}
