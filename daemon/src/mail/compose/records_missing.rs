//! That records are missing.

use askama::Template;
use duskflight_core::contents::RecordsMissing;

use super::{subject, whole};
use crate::mail::message::{ComposeError, Composed, Envelope};

/// Composes what an adviser gets while records are missing.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn records_missing(
    envelope: &Envelope<'_>,
    missing: &RecordsMissing,
) -> Result<Composed, ComposeError> {
    let view = MissingView {
        envelope,
        subject: subject(&missing.headline),
        missing,
    };
    let failed = |source| ComposeError::Template {
        mail: "records",
        source,
    };
    let text = MissingText { view: &view }.render().map_err(failed)?;
    let html = MissingHtml { view: &view }.render().map_err(failed)?;
    whole(envelope, view.subject, &text, html, Default::default())
}

struct MissingView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    missing: &'a RecordsMissing,
}

#[derive(Template)]
#[template(path = "mail/records.txt")]
struct MissingText<'a> {
    view: &'a MissingView<'a>,
}

#[derive(Template)]
#[template(path = "mail/records.html", whitespace = "minimize")]
struct MissingHtml<'a> {
    view: &'a MissingView<'a>,
}
