//! A message as we read it: who it says it is from, which of our mails it may answer, and its text. Bounded, since
//! anybody can send one.

use chrono::{DateTime, Utc};
use mail_parser::{
    Address, HeaderValue, Message, MessageParser, MessagePart, MimeHeaders, PartType,
};

use super::automatic::automatic;
use super::page::page_to_text;
use super::take::MOST_BYTES;
use super::verdict::{Verdict, verdict};
use crate::hash::hash;

/// More of its text is not looked at.
const MOST_TEXT: usize = 200_000;
/// More parts than a mail program makes.
const MOST_PARTS: usize = 100;
/// More parameters of a header, and of those more that go on in another (RFC 2231), than a mail program writes.
const MOST_WORDS: usize = 20_000;
const MOST_SIGNS: usize = 500;
/// A program that keeps to the form of flowing text (RFC 3676) breaks no line that is shorter.
const LEAST_FLOWED: usize = 40;
/// So many sheets of one answer are looked at.
const MOST_SHEETS: usize = 10;

/// A message that may be an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Letter {
    /// Short name of the whole: of its Message-ID where it has one.
    pub(super) id: String,
    /// Its Message-ID with brackets, where it has a usable one.
    pub(super) message_id: Option<String>,
    /// The one address that it says it is from, in lower case.
    pub(super) from: String,
    /// Headers in which the mark of one of our mails may stand.
    pub(super) marks: Vec<String>,
    /// When it was sent, by its own account.
    pub(super) sent: Option<DateTime<Utc>>,
    /// What it says.
    pub text: String,
    /// Sheets that came with it: name and bytes.
    pub(super) sheets: Vec<(String, Vec<u8>)>,
    /// What the receiving server found out about its sender.
    pub(super) verdict: Verdict,
}

/// Why a message is none that we read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoLetter {
    /// It is larger, deeper or in more parts than an answer.
    TooLarge,
    /// It is not a message, or names no sender or several.
    NotAMessage,
    /// A program sent it.
    Automatic,
}

impl Letter {
    /// Reads a message. `verified_by`: the receiving server whose findings are believed.
    ///
    /// # Errors
    /// [`NoLetter`] for what is left alone.
    pub fn read(bytes: &[u8], verified_by: Option<&str>) -> Result<Self, NoLetter> {
        if bytes.len() as u64 > MOST_BYTES || has_endless_header(bytes) {
            return Err(NoLetter::TooLarge);
        }
        let closed = with_forwarded_closed(bytes).ok_or(NoLetter::TooLarge)?;
        let message = MessageParser::default()
            .parse(&closed)
            .ok_or(NoLetter::NotAMessage)?;
        if message.parts.len() > MOST_PARTS {
            return Err(NoLetter::TooLarge);
        }
        if automatic(&message) {
            return Err(NoLetter::Automatic);
        }
        let from = one_sender(&message).ok_or(NoLetter::NotAMessage)?;
        let message_id = message.message_id().map(str::to_owned);
        Ok(Self {
            id: match &message_id {
                Some(id) => hash(&[id.as_bytes(), from.as_bytes()]),
                None => hash(&[bytes]),
            },
            message_id: message_id
                .filter(|id| id.len() < 200 && id.bytes().all(|b| b.is_ascii_graphic()))
                .map(|id| format!("<{id}>")),
            marks: marks(&message),
            sent: message.date().and_then(|date| {
                DateTime::from_timestamp(date.to_timestamp(), 0).filter(|_| date.is_valid())
            }),
            text: text(&message),
            sheets: sheets(&message),
            verdict: verified_by
                .map_or(Verdict::Nothing, |server| verdict(&message, server, &from)),
            from,
        })
    }
}

/// Whether a header, or what could be one, has more parameters than a mail program writes: the parser compares each with
/// all before it.
fn has_endless_header(bytes: &[u8]) -> bool {
    headers(bytes).any(|header| {
        let count = |sign| header.iter().filter(|byte| **byte == sign).count();
        count(b';') > MOST_WORDS || count(b'*') > MOST_SIGNS
    })
}

/// All that could be a header: a line with those that go on with it.
fn headers(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    let lines = bytes.split_inclusive(|byte| *byte == b'\n');
    let mut ends = lines
        .scan(0, |end, line| {
            *end += line.len();
            Some(*end)
        })
        .filter(|end| !goes_on(&bytes[*end..]));
    let mut begin = 0;
    std::iter::from_fn(move || {
        let end = ends.next()?;
        let header = &bytes[begin..end];
        begin = end;
        Some(header)
    })
}

/// Whether a line that begins here goes on with the header before it.
const fn goes_on(line: &[u8]) -> bool {
    match line {
        [b' ' | b'\t', ..] => true,
        [b'\r' | 0x0b | 0x0c, next, ..] => *next != b'\n',
        _ => false,
    }
}

/// Whether a header says that a body is a list's digest, each part of which is a mail.
fn has_digest(lower: &[u8]) -> bool {
    headers(lower).any(|header| {
        // The parser takes a name for what it is with blanks in it, too.
        let mut said: Vec<u8> = header.to_vec();
        said.retain(|byte| !byte.is_ascii_whitespace());
        let behind = |text, word| places(text, word).next().map(|at| &text[at..]);
        behind(&said, b"content-type:")
            .and_then(|kind| behind(kind, b"multipart"))
            .is_some_and(|kind| places(kind, b"digest").any(|at| is_type(kind, at)))
    })
}

/// Where a word stands.
fn places<'a>(text: &'a [u8], word: &'a [u8]) -> impl Iterator<Item = usize> {
    let windows = text.windows(word.len()).enumerate();
    windows.filter_map(move |(at, part)| (part == word).then_some(at))
}

/// Whether a word may be a type's second: it stands behind a stroke, or a comment behind it.
fn is_type(text: &[u8], at: usize) -> bool {
    let mut before = text[..at].iter().rev();
    let before = before.find(|byte| !byte.is_ascii_whitespace());
    before.is_some_and(|byte| matches!(byte, b'/' | b')' | b'"'))
}

/// The message with the mails that were forwarded in it as files like any other: they are nobody's answer, and opening
/// one within another without end takes more stack than there is. `None` for a list's digest, and where there are more
/// multipart bodies than parts are taken, each of which is looked for through the whole message.
fn with_forwarded_closed(bytes: &[u8]) -> Option<Vec<u8>> {
    let lower = bytes.to_ascii_lowercase();
    if has_digest(&lower) || places(&lower, b"multipart").count() > MOST_PARTS {
        return None;
    }
    let mut closed = bytes.to_vec();
    for word in [&b"rfc822"[..], b"global"] {
        for at in places(&lower, word).filter(|at| is_type(&lower, *at)) {
            closed[at] = b'-';
        }
    }
    Some(closed)
}

/// The one address in `From`; a message from several is nobody's answer.
fn one_sender(message: &Message<'_>) -> Option<String> {
    let mut froms = message.header_values("From");
    let (Some(HeaderValue::Address(from)), None) = (froms.next(), froms.next()) else {
        return None;
    };
    let mut addresses = from.iter();
    match (addresses.next(), addresses.next()) {
        (Some(one), None) => Some(one.address.as_deref()?.trim().to_lowercase()),
        _ => None,
    }
}

/// What may hold the mark of one of our mails: what the message refers to, to which address it went, its subject.
fn marks(message: &Message<'_>) -> Vec<String> {
    let mut marks = Vec::new();
    for header in [message.in_reply_to(), message.references()] {
        // The last one is the newest: a receipt rather than the round that it came from.
        let ids = header.as_text_list().unwrap_or_default();
        marks.extend(ids.iter().rev().map(|id| id.to_string()));
    }
    for to in [message.to(), message.cc()].into_iter().flatten() {
        marks.extend(addresses(to));
    }
    for name in ["Delivered-To", "X-Original-To", "Envelope-To"] {
        for value in message.header_values(name) {
            marks.extend(match value {
                HeaderValue::Address(to) => addresses(to),
                other => other.as_text().map(str::to_owned).into_iter().collect(),
            });
        }
    }
    marks.extend(message.subject().map(str::to_owned));
    marks
}

fn addresses(to: &Address<'_>) -> Vec<String> {
    let addresses = to.iter().take(50);
    addresses
        .filter_map(|one| Some(one.address.as_deref()?.to_owned()))
        .collect()
}

/// The text of a message: its plain parts, and its HTML as text where it has no other, or an empty one. Files, and what
/// stands behind a mail that was forwarded, are no part of it.
fn text(message: &Message<'_>) -> String {
    let forwarded = message.parts.iter().position(|part| {
        part.content_type()
            .is_some_and(|kind| kind.ctype() == "message")
    });
    let shown = |ids: &[u32]| -> Vec<&MessagePart<'_>> {
        let ids = ids.iter().filter_map(|id| usize::try_from(*id).ok());
        let ids = ids.filter(|id| forwarded.is_none_or(|end| *id < end));
        ids.filter_map(|id| message.parts.get(id))
            .filter(|part| !is_file(part))
            .collect()
    };
    let is_empty = |part: &&MessagePart<'_>| matches!(&part.body, PartType::Text(text) if text.trim().is_empty());
    let mut parts = shown(&message.text_body);
    if parts.is_empty() || parts.iter().any(is_empty) {
        parts = shown(&message.html_body);
    }
    let mut text = String::new();
    for part in parts {
        match &part.body {
            PartType::Text(plain) if flows(part) => text.push_str(&unbroken(plain)),
            PartType::Text(plain) => text.push_str(plain),
            PartType::Html(page) => text.push_str(&page_to_text(page)),
            _ => {}
        }
        text.push('\n');
        if text.len() > MOST_TEXT {
            break;
        }
    }
    let end = (0..=MOST_TEXT.min(text.len()))
        .rev()
        .find(|at| text.is_char_boundary(*at));
    text.truncate(end.unwrap_or(0));
    text
}

fn is_file(part: &MessagePart<'_>) -> bool {
    part.is_content_type("text", "csv")
        || part
            .content_disposition()
            .is_some_and(|how| how.is_attachment())
}

/// Whether lines that end with a blank go on in the next (RFC 3676).
fn flows(part: &MessagePart<'_>) -> bool {
    let format = part
        .content_type()
        .and_then(|kind| kind.attribute("format"));
    format.is_some_and(|format| format.eq_ignore_ascii_case("flowed"))
}

/// Flowing text with its long lines whole again. One that is short was ended by whoever wrote it, whatever its program
/// left behind it.
fn unbroken(text: &str) -> String {
    let mut whole = String::with_capacity(text.len());
    let mut goes_on = None;
    for line in text.lines() {
        let said = line.trim_start_matches('>');
        let depth = line.len() - said.len();
        match goes_on {
            Some(before) if before == depth => {
                whole.push_str(said.strip_prefix(' ').unwrap_or(said));
            }
            Some(_) => whole.extend(["\n", line]),
            None => whole.push_str(line),
        }
        goes_on = (line.ends_with(' ') && line.chars().count() >= LEAST_FLOWED).then_some(depth);
        if goes_on.is_none() {
            whole.push('\n');
        }
    }
    whole
}

fn sheets(message: &Message<'_>) -> Vec<(String, Vec<u8>)> {
    let attached = message.attachments().filter_map(|part| {
        let name = part.attachment_name();
        let is_sheet = part.is_content_type("text", "csv")
            || name.is_some_and(|name| name.to_lowercase().ends_with(".csv"));
        is_sheet.then(|| {
            (
                name.unwrap_or("sheet.csv").to_owned(),
                part.contents().to_vec(),
            )
        })
    });
    attached.take(MOST_SHEETS).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(rest: &str) -> Result<Letter, NoLetter> {
        Letter::read(format!("From: sam@test.example\r\n{rest}").as_bytes(), None)
    }

    #[test]
    fn the_word_digest_in_a_text_is_a_word_and_in_the_type_of_a_body_a_list_s_digest() {
        for text in [
            "\r\nN1-E1 14\r\nhttps://far.example/digest?week=2\r\n",
            "\r\nN1-E1 14\r\n(see the round)digest\r\n",
            "Content-Type: text/html\r\n\r\n<p>N1-E1 14</p><a\r\n href=\"digest.html\">us</a>\r\n",
            "Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\n\r\nN1-E1 14\r\na/digest\r\n--b--\r\n",
        ] {
            let read = read(text);
            assert!(
                read.is_ok_and(|letter| letter.text.contains("N1-E1 14")),
                "{text}"
            );
        }
        for kind in [
            "Content-Type: multipart/digest; boundary=b",
            "CONTENT-TYPE:Multipart/Digest; boundary=b",
            "Content -Type : multipart / (of a list)digest; boundary=b",
            "Content-Type:\r\n multipart\r\n \r\n\t/digest; boundary=b",
            "Content-Type: multipart/(a\r\n b) digest; boundary=b",
        ] {
            let whole = format!("{kind}\r\n\r\n--b\r\n\r\nN1-E1 14\r\n--b--\r\n");
            assert_eq!(read(&whole), Err(NoLetter::TooLarge), "{kind}");
            let within =
                format!("Content-Type: multipart/mixed; boundary=a\r\n\r\n--a\r\n{whole}--a--\r\n");
            assert_eq!(read(&within), Err(NoLetter::TooLarge), "{kind}");
        }
    }
}
