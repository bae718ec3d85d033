//! The round of a day on one route. Its reader may answer it, and mail programs send the original along as they please:
//! what stands around the lines to fill in is made so that it says nothing when it comes back.

use askama::Template;
use duskflight_core::contents::{RoundMail, RoundStop};
use duskflight_core::wording::form::{self, aside, fill_in, remark};
use duskflight_core::wording::language::Vocabulary;
use textwrap::{Options, WordSplitter};

use super::{Adviser, subject, whole};
use crate::mail::message::{ComposeError, Composed, Envelope};

/// Width of remarks without their signs, in columns: quoted several times over they are not wrapped again.
const REMARK_COLUMNS: usize = 64;

/// Composes the round of one route.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn round(
    envelope: &Envelope<'_>,
    round: &RoundMail,
    adviser: Adviser<'_>,
) -> Result<Composed, ComposeError> {
    let view = RoundView {
        envelope,
        subject: subject(&round.headline),
        round,
        words: round.language.words(),
        adviser,
    };
    let failed = |source| ComposeError::Template {
        mail: "round",
        source,
    };
    let text = RoundText { view: &view }.render().map_err(failed)?;
    let html = RoundHtml { view: &view }.render().map_err(failed)?;
    whole(
        envelope,
        view.subject,
        &remarks(&text),
        html,
        Default::default(),
    )
}

/// Makes remarks of lines that begin as such; each line that one is wrapped to is one by itself.
fn remarks(text: &str) -> String {
    let options = Options::new(REMARK_COLUMNS).word_splitter(WordSplitter::NoHyphenation);
    let lines = text.lines().map(|line| match line.strip_prefix("# ") {
        Some(said) => {
            let lines = textwrap::wrap(said.trim(), &options);
            let lines: Vec<String> = lines.iter().map(|line| remark(line)).collect();
            lines.join("\n")
        }
        None => line.to_owned(),
    });
    lines.collect::<Vec<String>>().join("\n")
}

struct RoundView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    round: &'a RoundMail,
    words: &'static Vocabulary,
    adviser: Adviser<'a>,
}

impl RoundView<'_> {
    /// Where it begins; nothing where no answers are read.
    fn begins(&self) -> String {
        self.marked(form::BEGINS, self.words.answer.form_begins)
    }

    /// Where it ends.
    fn ends(&self) -> String {
        self.marked(form::ENDS, self.words.answer.form_ends)
    }

    fn marked(&self, mark: &str, words: &str) -> String {
        match self.envelope.answerable {
            true => format!("{mark} {words}"),
            false => String::new(),
        }
    }

    /// The line of a trap.
    fn line(&self, stop: &RoundStop) -> String {
        match self.envelope.answerable {
            true => fill_in(&stop.trap).trim_end().to_owned(),
            false => stop.trap.to_string(),
        }
    }

    /// What may be written.
    fn foot(&self) -> &'static [&'static str] {
        match self.envelope.answerable {
            true => &self.words.answer.foot,
            false => &[],
        }
    }

    /// Whom to ask; an adviser who walks the round needs nobody.
    fn ask(&self) -> Option<String> {
        let walks = self.adviser.name == self.envelope.to.name;
        (!walks).then(|| (self.words.round.mail.ask)(&self.adviser.with_licence()))
    }

    fn caution(&self) -> String {
        (self.words.round.mail.caution)(self.envelope.authority)
    }

    fn bring(&self) -> String {
        self.round.bring.join(", ")
    }

    /// A trap in one line, without its id.
    fn known(&self, stop: &RoundStop) -> String {
        let place = Some(&stop.place).filter(|place| !place.is_empty());
        let all = place.into_iter().chain([&stop.kind]).chain(&stop.last);
        let all = all.chain(&stop.notes).chain(&stop.changes);
        all.map(String::as_str).collect::<Vec<&str>>().join(" · ")
    }

    /// Its kind and last reading.
    fn read(stop: &RoundStop) -> String {
        let all = std::iter::once(&stop.kind).chain(&stop.last);
        all.map(String::as_str).collect::<Vec<&str>>().join(" · ")
    }
}

#[derive(Template)]
#[template(path = "mail/round.txt")]
struct RoundText<'a> {
    view: &'a RoundView<'a>,
}

#[derive(Template)]
#[template(path = "mail/round.html", whitespace = "minimize")]
struct RoundHtml<'a> {
    view: &'a RoundView<'a>,
}

#[cfg(test)]
mod tests;
