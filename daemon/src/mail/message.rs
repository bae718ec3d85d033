//! From a subject and two bodies to the bytes of one message; equal input gives equal bytes.

use std::time::SystemTime;

use chrono::{DateTime, FixedOffset};
use duskflight_core::wording::language::Language;
use duskflight_core::wording::{caution, form};
use lettre::Message;
use lettre::address::AddressError;
use lettre::message::header::{
    ContentDisposition, ContentId, ContentTransferEncoding, ContentType, Header, HeaderName,
    HeaderValue,
};
use lettre::message::{Body, MultiPart, SinglePart};
use sha2::{Digest as _, Sha256};

use crate::chart::ChartError;
use crate::one_line::{one_line, shortened};

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

/// What a mail needs besides its parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Envelope<'a> {
    /// The farm's name.
    pub farm: &'a str,
    /// Printed prominently, such as that the farm is invented.
    pub farm_note: Option<&'a str>,
    /// Whom the caution says to ask about permits.
    pub authority: &'a str,
    /// The sender.
    pub from: Mailbox<'a>,
    /// The one recipient.
    pub to: Mailbox<'a>,
    /// A person who reads replies.
    pub reply_to: Option<Mailbox<'a>>,
    /// The Message-ID of the mail that it answers, with brackets.
    pub in_reply_to: Option<&'a str>,
    /// The mark by which an answer is known, where it stands in the subject.
    pub in_subject: Option<&'a str>,
    /// Whether the program reads its answers.
    pub answerable: bool,
    /// The whole id, `<left@right>`; the same on every try.
    pub message_id: &'a str,
    /// The instant of telling.
    pub date: DateTime<FixedOffset>,
    /// The same in words, with the zone: `Jun 20, 2022, 06:00 PDT`.
    pub as_of: &'a str,
}

impl Envelope<'_> {
    /// Where the mail begins, as an answer to it brings that back, where answers are read.
    #[must_use]
    pub fn begins(&self) -> Option<String> {
        let words = &Language::English.words().answer;
        self.answerable
            .then(|| format!("{} {}", form::BEGINS, words.mail_begins))
    }

    /// Where it ends.
    #[must_use]
    pub fn ends(&self) -> Option<String> {
        let words = &Language::English.words().answer;
        self.answerable
            .then(|| format!("{} {}", form::ENDS, words.form_ends))
    }

    /// The caution that every mail carries.
    #[must_use]
    pub fn caution(&self) -> String {
        caution(self.authority)
    }
}

/// What a mail shows: its text, and the same as HTML with its pictures and files.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Parts {
    /// The subject.
    pub subject: String,
    /// The text part.
    pub text: String,
    /// The HTML part.
    pub html: String,
    /// Pictures that the HTML part shows by [`cid`].
    pub pictures: Vec<Picture>,
    /// Files that come with it.
    pub files: Vec<File>,
}

/// A picture inside the HTML part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Its name, unique in its mail: letters, digits and hyphens.
    pub name: String,
    /// A PNG file.
    pub png: Vec<u8>,
}

/// A text file that comes with a mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct File {
    /// Its name.
    pub name: String,
    /// Its media type with parameters.
    pub media_type: String,
    /// What stands in it.
    pub text: String,
}

/// The Content-ID of a picture without its brackets, as `src="cid:…"` names it: unique in the world as
/// the message id is (RFC 2392).
#[must_use]
pub fn cid(picture: &str, message_id: &str) -> String {
    format!("{picture}.{}", message_id.trim_matches(['<', '>']))
}

/// A mail ready for the outbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Composed {
    /// What it shows.
    pub parts: Parts,
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
    /// A chart cannot be drawn.
    #[error("draw a chart for the mail")]
    Chart(#[from] ChartError),
    /// A file's media type cannot be used.
    #[error("use {0:?} as the media type of a file")]
    MediaType(String),
    /// The message cannot be put together.
    #[error("put the message {message_id} together")]
    Message {
        /// Its id.
        message_id: String,
        /// What went wrong.
        source: lettre::error::Error,
    },
}

/// Puts one message together: the text first, then the same as HTML, both complete; files after them.
///
/// # Errors
/// [`ComposeError`] when an address, the message id or a file's media type cannot be used.
pub fn assemble(envelope: &Envelope<'_>, parts: Parts) -> Result<Composed, ComposeError> {
    let id = checked_message_id(envelope.message_id)?;
    let mut message = Message::builder()
        .date(SystemTime::from(envelope.date))
        .message_id(Some(id.to_owned()))
        .from(mailbox(envelope.from, "sender")?)
        .to(mailbox(envelope.to, "recipient")?)
        .subject(in_header(&parts.subject))
        .header(AutoSubmitted)
        .header(AutoResponseSuppress);
    if let Some(reply_to) = envelope.reply_to {
        message = message.reply_to(mailbox(reply_to, "reply")?);
    }
    if let Some(answered) = envelope.in_reply_to {
        message = message
            .in_reply_to(answered.to_owned())
            .references(answered.to_owned());
    }
    let message = message.multipart(with_files(id, &parts)?);
    let message = message.map_err(|source| ComposeError::Message {
        message_id: id.to_owned(),
        source,
    })?;
    Ok(Composed {
        parts,
        bytes: message.formatted(),
    })
}

fn with_files(id: &str, parts: &Parts) -> Result<MultiPart, ComposeError> {
    let readable = readable(id, parts);
    if parts.files.is_empty() {
        return Ok(readable);
    }
    let all = MultiPart::mixed().boundary(boundary(id, "mixed"));
    let files = parts.files.iter();
    files
        .map(file_part)
        .try_fold(all.multipart(readable), |all, file| {
            Ok(all.singlepart(file?))
        })
}

fn readable(id: &str, parts: &Parts) -> MultiPart {
    let html = part(ContentType::TEXT_HTML, &parts.html);
    let both = MultiPart::alternative()
        .boundary(boundary(id, "alternative"))
        .singlepart(part(ContentType::TEXT_PLAIN, &parts.text));
    if parts.pictures.is_empty() {
        return both.singlepart(html);
    }
    let shown = MultiPart::related().boundary(boundary(id, "related"));
    let pictures = parts.pictures.iter();
    both.multipart(pictures.fold(shown.singlepart(html), |shown, picture| {
        shown.singlepart(picture_part(id, picture))
    }))
}

fn picture_part(id: &str, picture: &Picture) -> SinglePart {
    let png = ContentType::parse("image/png").expect("a well-formed media type");
    let body = Body::new_with_encoding(picture.png.clone(), ContentTransferEncoding::Base64)
        .expect("only seven and eight bit refuse a body");
    SinglePart::builder()
        .header(png)
        .header(ContentDisposition::inline_with_name(&format!(
            "{}.png",
            picture.name
        )))
        .header(ContentId::from(format!("<{}>", cid(&picture.name, id))))
        .body(body)
}

fn file_part(file: &File) -> Result<SinglePart, ComposeError> {
    let kind = ContentType::parse(&file.media_type)
        .map_err(|_| ComposeError::MediaType(file.media_type.clone()))?;
    let disposition = ContentDisposition::attachment(&one_line(&file.name));
    Ok(SinglePart::builder()
        .header(kind)
        .header(disposition)
        .body(encoded(&file.text)))
}

/// Quoted-printable keeps lines within 76 characters and text readable in the outbox. Line ends are made
/// here, since lettre inserts them one by one, which takes long for long mails.
fn part(kind: ContentType, content: &str) -> SinglePart {
    SinglePart::builder().header(kind).body(encoded(content))
}

fn encoded(content: &str) -> Body {
    let encoding = ContentTransferEncoding::QuotedPrintable;
    let lines: Vec<&str> = content
        .split('\n')
        .map(|line| line.trim_end_matches('\r'))
        .collect();
    Body::new_with_encoding(lines.join("\r\n"), encoding)
        .expect("only seven and eight bit refuse a body")
}

/// The boundary holds `=_`, which quoted-printable text never does (RFC 2045, 6.7), so no content
/// can contain it.
fn boundary(message_id: &str, of: &str) -> String {
    let hash = Sha256::digest(format!("{of} {message_id}").as_bytes());
    let hex: String = hash[..16]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    format!("=_{hex}")
}

/// One line that no mail program takes for an encoded word (RFC 2047), which it would decode: a name may
/// hold `=?`.
fn in_header(text: &str) -> String {
    one_line(text).replace("=?", "= ?")
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
    let name = shortened(in_header(mailbox.name).trim(), LONGEST_NAME);
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
    use mail_parser::{MessageParser, MimeHeaders};

    use super::*;

    fn mailed(parts: Parts) -> Result<Composed, ComposeError> {
        let mailbox = Mailbox {
            name: "Ada",
            address: "ada@farm.example",
        };
        let envelope = Envelope {
            farm: "Farm",
            farm_note: None,
            authority: "your local authority",
            from: mailbox,
            to: mailbox,
            reply_to: None,
            in_reply_to: None,
            in_subject: None,
            answerable: false,
            message_id: "<a.b@farm.example>",
            date: DateTime::parse_from_rfc3339("2022-06-20T06:00:00-07:00").unwrap(),
            as_of: "Jun 20",
        };
        assemble(&envelope, parts)
    }

    #[test]
    fn pictures_are_shown_in_the_html_and_files_come_beside_the_mail() {
        let mail = mailed(Parts {
            subject: "s".to_owned(),
            text: "t\n".to_owned(),
            html: format!("<img src=\"cid:{}\">", cid("heat", "<a.b@farm.example>")),
            pictures: vec![Picture {
                name: "heat".to_owned(),
                png: vec![0x89, 0, 0xff],
            }],
            files: vec![File {
                name: "Peñón,\nlate.ics".to_owned(),
                media_type: "text/calendar; method=PUBLISH; charset=utf-8".to_owned(),
                text: "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n".to_owned(),
            }],
        })
        .unwrap();
        let message = MessageParser::default().parse(&mail.bytes).unwrap();
        let kinds: Vec<String> = message
            .parts
            .iter()
            .filter_map(|part| {
                let kind = part.content_type()?;
                Some(format!("{}/{}", kind.c_type, kind.c_subtype.as_deref()?))
            })
            .collect();
        assert_eq!(
            kinds,
            [
                "multipart/mixed",
                "multipart/alternative",
                "text/plain",
                "multipart/related",
                "text/html",
                "image/png",
                "text/calendar",
            ]
        );
        let picture = &message.parts[5];
        assert_eq!(picture.content_id(), Some("heat.a.b@farm.example"));
        assert_eq!(picture.contents(), [0x89, 0, 0xff]);
        let calendar = &message.parts[6];
        assert_eq!(calendar.attachment_name(), Some("Peñón, late.ics"));
        assert!(calendar.contents().starts_with(b"BEGIN:VCALENDAR\r\nEND"));
        let lines = mail.bytes.split(|byte| *byte == b'\n');
        assert!(lines.map(<[u8]>::len).max() < Some(80));
    }

    #[test]
    fn a_file_of_no_known_form_is_refused() {
        let file = File {
            name: "x".to_owned(),
            media_type: "calendar".to_owned(),
            text: String::new(),
        };
        let refused = mailed(Parts {
            files: vec![file],
            ..Parts::default()
        });
        assert!(matches!(refused, Err(ComposeError::MediaType(_))));
    }

    #[test]
    fn text_that_looks_like_an_encoded_word_is_not_decoded() {
        let mail = mailed(Parts {
            subject: "=?utf-8?q?=0D=0ABcc:_x?=: start".to_owned(),
            ..Parts::default()
        });
        let bytes = mail.unwrap().bytes;
        let message = MessageParser::default().parse(&bytes).unwrap();
        assert_eq!(message.subject(), Some("= ?utf-8?q?=0D=0ABcc:_x?=: start"));
    }

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
