//! A grower's weekly letter.

use askama::Template;
use duskflight_core::contents::Letter;
use duskflight_core::wording::Words;

use super::{Adviser, subject, whole};
use crate::mail::message::{ComposeError, Composed, Envelope};

/// Composes a grower's weekly letter.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn letter(
    envelope: &Envelope<'_>,
    words: Words,
    letter: &Letter,
    adviser: Adviser<'_>,
) -> Result<Composed, ComposeError> {
    let view = LetterView {
        envelope,
        subject: letter_subject(words, letter),
        letter,
        adviser,
    };
    let failed = |source| ComposeError::Template {
        mail: "letter",
        source,
    };
    let text = LetterText { view: &view }.render().map_err(failed)?;
    let html = LetterHtml { view: &view }.render().map_err(failed)?;
    whole(envelope, view.subject, &text, html, Default::default())
}

/// A letter's subject.
pub(in crate::mail) fn letter_subject(words: Words, letter: &Letter) -> String {
    let begins = format!("Week to {}: ", words.day(letter.day));
    subject(&begins, &letter.headline, letter.more)
}

struct LetterView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    letter: &'a Letter,
    adviser: Adviser<'a>,
}

#[derive(Template)]
#[template(path = "mail/letter.txt")]
struct LetterText<'a> {
    view: &'a LetterView<'a>,
}

#[derive(Template)]
#[template(path = "mail/letter.html", whitespace = "minimize")]
struct LetterHtml<'a> {
    view: &'a LetterView<'a>,
}
