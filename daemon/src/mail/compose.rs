//! The mails people get: an adviser's digest, key-date alerts, a grower's weekly letter, and the summary that
//! stands for several.

mod letter;
mod receipt;
mod records_missing;
mod round;
mod summary;

pub use letter::letter;
pub use receipt::receipt;
pub use records_missing::records_missing;
pub use round::round;
pub use summary::summary;
pub(super) use summary::summary_subject;

use askama::Template;
use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::contents::{Alert, Chart, Digest, LONGEST_SUBJECT};
use duskflight_core::ledger::CatchUp;
use duskflight_core::wording::{Words, plural};
use serde::{Deserialize, Serialize};
use textwrap::{Options, WordSplitter};

pub use super::adviser::{Adviser, AdviserLine};
use super::calendar;
use super::message::{
    ComposeError, Composed, Envelope, File, Mailbox, Parts, Picture, assemble, cid,
};
use crate::config::{Config, Person};
use crate::one_line::{one_line, shortened};

/// Width of the text part, in columns.
const TEXT_COLUMNS: usize = 76;

/// Mail programs cut off longer HTML or ask before they show it; bytes.
const LONGEST_HTML: usize = 80_000;
/// What a digest carries besides its contents.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Extras {
    /// Something about this digest itself, such as that it is late or covers several days.
    pub remark: Option<String>,
    /// Alerts that go to growers after this digest.
    pub growers: Vec<GrowerAlert>,
    /// Alerts of earlier days that do not leave by themselves, each in one line.
    pub held: Vec<String>,
    /// How many hours those alerts wait after this digest was sent.
    #[serde(default)]
    pub hold_hours: u16,
    /// The season at a glance, and charts of blocks that there is news of.
    pub charts: Vec<Chart>,
}

impl Extras {
    fn has_alerts(&self) -> bool {
        !(self.growers.is_empty() && self.held.is_empty())
    }
}

/// An alert that waits until the adviser has had the digest.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GrowerAlert {
    /// The grower's name.
    pub grower: String,
    /// The alert's headline.
    pub headline: String,
}

/// Composes an adviser's digest. `pictures`: its charts, drawn.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn digest(
    envelope: &Envelope<'_>,
    words: Words,
    digest: &Digest,
    extras: &Extras,
    pictures: Vec<Picture>,
) -> Result<Composed, ComposeError> {
    let subject = subject_after(words, digest.catch_up, &digest.headline);
    let composed = |contents: &Digest| {
        let view = DigestView {
            envelope,
            subject: &subject,
            catch_up: remark(words, contents.catch_up, contents.day),
            digest: contents,
            extras,
        };
        let text = DigestText { view: &view }.render()?;
        Ok((text, DigestHtml { view: &view }.render()?))
    };
    let (text, html) = fitting(digest, composed).map_err(|source| ComposeError::Template {
        mail: "digest",
        source,
    })?;
    whole(envelope, subject, &text, html, (pictures, Vec::new()))
}

/// The whole digest, or the first shortened one whose HTML fits; the shortest where none does.
fn fitting(
    digest: &Digest,
    composed: impl Fn(&Digest) -> Result<(String, String), askama::Error>,
) -> Result<(String, String), askama::Error> {
    let mut parts = composed(digest)?;
    for short in (1..).map_while(|step| digest.shortened(step)) {
        if parts.1.len() < LONGEST_HTML {
            break;
        }
        parts = composed(&short)?;
    }
    Ok(parts)
}

/// That a mail makes up for days.
fn remark(words: Words, catch_up: Option<CatchUp>, day: NaiveDate) -> Option<String> {
    catch_up.map(|catch_up| words.catch_up_remark(catch_up, day))
}

/// Composes one person's key-date alert, with a calendar file where key dates have entries.
/// `charts`: what it shows, and the same drawn.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn alert(
    envelope: &Envelope<'_>,
    words: Words,
    alert: &Alert,
    adviser: Adviser<'_>,
    (charts, pictures): (&[Chart], Vec<Picture>),
) -> Result<Composed, ComposeError> {
    let view = AlertView {
        envelope,
        subject: subject_after(words, alert.catch_up, &alert.headline),
        catch_up: remark(words, alert.catch_up, alert.day),
        alert,
        adviser,
        charts,
    };
    let failed = |source| ComposeError::Template {
        mail: "alert",
        source,
    };
    let text = AlertText { view: &view }.render().map_err(failed)?;
    let html = AlertHtml { view: &view }.render().map_err(failed)?;
    let dates = alert.calendar.iter().map(|date| (adviser, date));
    let file = calendar::file(envelope, dates);
    let beside = (pictures, file.into_iter().collect());
    whole(envelope, view.subject, &text, html, beside)
}

/// Composes a mail that only shows whether mail arrives.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn test_mail(envelope: &Envelope<'_>) -> Result<Composed, ComposeError> {
    let view = TestView {
        envelope,
        subject: test_subject(envelope.farm),
    };
    let failed = |source| ComposeError::Template {
        mail: "test mail",
        source,
    };
    let text = TestText { view: &view }.render().map_err(failed)?;
    let html = TestHtml { view: &view }.render().map_err(failed)?;
    whole(envelope, view.subject, &text, html, Default::default())
}

/// A mail to whoever looks after the box.
pub(super) fn operator_mail(
    envelope: &Envelope<'_>,
    headline: &str,
    lines: &[String],
) -> Result<Composed, ComposeError> {
    let view = OperatorView {
        envelope,
        subject: subject(headline),
        lines,
    };
    let failed = |source| ComposeError::Template {
        mail: "operator mail",
        source,
    };
    let text = OperatorText { view: &view }.render().map_err(failed)?;
    let html = OperatorHtml { view: &view }.render().map_err(failed)?;
    whole(envelope, view.subject, &text, html, Default::default())
}

/// A test mail's subject.
pub(super) fn test_subject(farm: &str) -> String {
    subject(&format!("Test mail from {farm}"))
}

/// The address of a chart inside a mail.
fn source(chart: &Chart, envelope: &Envelope<'_>) -> String {
    format!("cid:{}", cid(chart.name(), envelope.message_id))
}

/// A subject with the mark by which an answer is known.
pub(super) fn with_mark(subject: String, mark: Option<&str>) -> String {
    match mark {
        Some(mark) => format!("{subject} ({mark})"),
        None => subject,
    }
}

fn whole(
    envelope: &Envelope<'_>,
    subject: String,
    text: &str,
    html: String,
    (pictures, files): (Vec<Picture>, Vec<File>),
) -> Result<Composed, ComposeError> {
    let parts = Parts {
        subject: with_mark(subject, envelope.in_subject),
        text: wrapped(text),
        html,
        pictures,
        files,
    };
    assemble(envelope, parts)
}

/// The envelope of a mail from the farm to one person; answers go nowhere in particular.
pub(crate) fn envelope_of<'a>(
    config: &'a Config,
    person: &'a Person,
    message_id: &'a str,
    now: DateTime<Utc>,
    as_of: &'a str,
) -> Envelope<'a> {
    Envelope {
        farm: &config.farm,
        farm_note: config.note.as_deref(),
        authority: &config.authority,
        from: Mailbox {
            name: &config.mail_from.name,
            address: &config.mail_from.address,
        },
        to: Mailbox {
            name: &person.name,
            address: &person.email,
        },
        reply_to: None,
        in_reply_to: None,
        in_subject: None,
        answerable: false,
        message_id,
        date: now.with_timezone(&config.zone).fixed_offset(),
        as_of,
    }
}

struct TestView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
}

#[derive(Template)]
#[template(path = "mail/test.txt")]
struct TestText<'a> {
    view: &'a TestView<'a>,
}

#[derive(Template)]
#[template(path = "mail/test.html", whitespace = "minimize")]
struct TestHtml<'a> {
    view: &'a TestView<'a>,
}

struct OperatorView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    lines: &'a [String],
}

#[derive(Template)]
#[template(path = "mail/operator.txt")]
struct OperatorText<'a> {
    view: &'a OperatorView<'a>,
}

#[derive(Template)]
#[template(path = "mail/operator.html", whitespace = "minimize")]
struct OperatorHtml<'a> {
    view: &'a OperatorView<'a>,
}

struct DigestView<'a> {
    envelope: &'a Envelope<'a>,
    subject: &'a str,
    catch_up: Option<String>,
    digest: &'a Digest,
    extras: &'a Extras,
}

impl DigestView<'_> {
    const fn kind(&self) -> &'static str {
        match self.digest.weekly {
            true => "Weekly digest",
            false => "Morning digest",
        }
    }

    /// How often it comes.
    const fn sending(&self) -> &'static str {
        match self.digest.weekly {
            true => {
                "Off the season it comes once a week. A week without it means trouble: find out why."
            }
            false => {
                "It comes every morning in season. A morning without it means trouble: find out why."
            }
        }
    }

    /// What stands above the blocks.
    fn blocks_title(&self) -> String {
        plural(self.digest.blocks.rows.len(), "block") + " with something to say"
    }

    /// What was left out, and where to see it.
    fn left_out(&self) -> String {
        format!(
            "Too long for one mail, so left out: {}. To see them: duskflight season.",
            self.digest.left_out.join(", ")
        )
    }
}

#[derive(Template)]
#[template(path = "mail/digest.txt")]
struct DigestText<'a> {
    view: &'a DigestView<'a>,
}

#[derive(Template)]
#[template(path = "mail/digest.html", whitespace = "minimize")]
struct DigestHtml<'a> {
    view: &'a DigestView<'a>,
}

struct AlertView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    catch_up: Option<String>,
    alert: &'a Alert,
    adviser: Adviser<'a>,
    charts: &'a [Chart],
}

#[derive(Template)]
#[template(path = "mail/alert.txt")]
struct AlertText<'a> {
    view: &'a AlertView<'a>,
}

#[derive(Template)]
#[template(path = "mail/alert.html", whitespace = "minimize")]
struct AlertHtml<'a> {
    view: &'a AlertView<'a>,
}

/// The subject of a mail that may make up for days.
pub(super) fn subject_after(words: Words, catch_up: Option<CatchUp>, headline: &str) -> String {
    let begins = catch_up.map(|catch_up| words.catch_up_subject(catch_up));
    subject(&format!("{}{headline}", begins.unwrap_or_default()))
}

/// A subject; one that is too long by itself is cut between words.
pub(super) fn subject(headline: &str) -> String {
    let words: Vec<&str> = headline.split_whitespace().collect();
    shortened(&one_line(&words.join(" ")), LONGEST_SUBJECT)
}

/// Wraps each line of a text, hanging under its first word.
fn wrapped(text: &str) -> String {
    let lines: Vec<String> = text.lines().map(wrapped_line).collect();
    let text = lines.join("\n");
    format!("{}\n", text.trim_matches('\n'))
}

fn wrapped_line(line: &str) -> String {
    let bare = line.trim_start_matches(' ');
    let bullet = if bare.starts_with("- ") { 2 } else { 0 };
    let indent = " ".repeat(line.len() - bare.len() + bullet);
    let options = Options::new(TEXT_COLUMNS)
        .word_splitter(WordSplitter::NoHyphenation)
        .subsequent_indent(&indent);
    textwrap::fill(line.trim_end(), options)
}

#[cfg(test)]
mod sample;
#[cfg(test)]
mod tests;
