//! A scout's round of the day.

use askama::Template;
use duskflight_core::contents::RoundMail;

use super::{Adviser, subject, whole};
use crate::mail::message::{ComposeError, Composed, Envelope};

/// Composes a scout's round.
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
        adviser,
    };
    let failed = |source| ComposeError::Template {
        mail: "round",
        source,
    };
    let text = RoundText { view: &view }.render().map_err(failed)?;
    let html = RoundHtml { view: &view }.render().map_err(failed)?;
    whole(envelope, view.subject, &text, html, Default::default())
}

struct RoundView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    round: &'a RoundMail,
    adviser: Adviser<'a>,
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
