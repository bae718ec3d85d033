//! A weekly letter.

use askama::Template;
use duskflight_core::contents::{Chart, Letter};

use super::{Adviser, source, subject, whole};
use crate::mail::message::{ComposeError, Composed, Envelope, Picture};

/// Composes a weekly letter. `charts`: what it shows, and the same drawn.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn letter(
    envelope: &Envelope<'_>,
    letter: &Letter,
    adviser: Adviser<'_>,
    (charts, pictures): (&[Chart], Vec<Picture>),
) -> Result<Composed, ComposeError> {
    let view = LetterView {
        envelope,
        subject: subject(&letter.headline),
        letter,
        adviser,
        charts,
    };
    let failed = |source| ComposeError::Template {
        mail: "letter",
        source,
    };
    let text = LetterText { view: &view }.render().map_err(failed)?;
    let html = LetterHtml { view: &view }.render().map_err(failed)?;
    whole(envelope, view.subject, &text, html, (pictures, Vec::new()))
}

struct LetterView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    letter: &'a Letter,
    adviser: Adviser<'a>,
    charts: &'a [Chart],
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
