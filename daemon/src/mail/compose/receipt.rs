//! What was made of answers.

use askama::Template;
use duskflight_core::contents::{Receipt, ReceiptRow};
use duskflight_core::wording::form;
use duskflight_core::wording::language::ReceiptWords;

use super::{subject, whole};
use crate::mail::message::{ComposeError, Composed, Envelope};

/// Composes a receipt.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn receipt(envelope: &Envelope<'_>, receipt: &Receipt) -> Result<Composed, ComposeError> {
    let view = ReceiptView {
        envelope,
        subject: subject(&receipt.headline),
        receipt,
        words: &receipt.language.words().receipt,
    };
    let failed = |source| ComposeError::Template {
        mail: "receipt",
        source,
    };
    let text = ReceiptText { view: &view }.render().map_err(failed)?;
    let html = ReceiptHtml { view: &view }.render().map_err(failed)?;
    whole(envelope, view.subject, &text, html, Default::default())
}

struct ReceiptView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    receipt: &'a Receipt,
    words: &'static ReceiptWords,
}

/// All that it says of an answer is in words that come back as nothing in the next one.
impl ReceiptView<'_> {
    fn aside(&self, text: impl std::fmt::Display) -> String {
        form::aside(&text.to_string())
    }

    fn row(&self, row: &ReceiptRow) -> String {
        let day = Some(&row.day).filter(|day| !day.is_empty());
        let day = day.map_or_else(String::new, |day| format!("{day}: "));
        let said = form::aside(&format!("{day}{}; {}", row.found, row.was));
        match row.remark.is_empty() {
            true => format!("{} {said}", row.trap),
            false => format!("{} {said} {}", row.trap, form::aside(&row.remark)),
        }
    }

    fn since(&self, row: &ReceiptRow) -> String {
        match row.day.is_empty() {
            true => row.was.clone(),
            false => format!("{}; {}", row.day, row.was),
        }
    }

    /// The day and the hour.
    fn on(&self) -> String {
        format!(
            "{}, {}",
            self.receipt.on,
            self.envelope.date.format("%H:%M")
        )
    }

    fn caution(&self) -> String {
        let words = &self.receipt.language.words().round.mail;
        (words.caution)(self.envelope.authority)
    }

    fn begins(&self) -> String {
        let words = &self.receipt.language.words().answer;
        format!("{} {}", form::BEGINS, words.mail_begins)
    }

    fn ends(&self) -> String {
        let words = &self.receipt.language.words().answer;
        format!("{} {}", form::ENDS, words.form_ends)
    }
}

#[derive(Template)]
#[template(path = "mail/receipt.txt")]
struct ReceiptText<'a> {
    view: &'a ReceiptView<'a>,
}

#[derive(Template)]
#[template(path = "mail/receipt.html", whitespace = "minimize")]
struct ReceiptHtml<'a> {
    view: &'a ReceiptView<'a>,
}
