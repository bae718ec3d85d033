//! The one mail that stands for all that would have been too many for a day.

use askama::Template;
use duskflight_core::contents::{Summary, SummaryPart};
use duskflight_core::wording::Words;

use super::{Adviser, remark, subject_after, whole};
use crate::mail::calendar;
use crate::mail::message::{ComposeError, Composed, Envelope};

/// Composes a summary. `advisers`: that of each part, in their order.
///
/// # Errors
/// [`ComposeError`] when an address or the message id cannot be used.
pub fn summary(
    envelope: &Envelope<'_>,
    words: Words,
    summary: &Summary,
    advisers: &[Adviser<'_>],
) -> Result<Composed, ComposeError> {
    let view = SummaryView {
        envelope,
        subject: summary_subject(words, summary),
        catch_up: remark(words, summary.catch_up, summary.day),
        summary,
        advisers,
    };
    let failed = |source| ComposeError::Template {
        mail: "summary",
        source,
    };
    let text = SummaryText { view: &view }.render().map_err(failed)?;
    let html = SummaryHtml { view: &view }.render().map_err(failed)?;
    let parts = view.parts().into_iter();
    let dates = parts.flat_map(|(part, adviser)| part.calendar.iter().map(|date| (*adviser, date)));
    let file = calendar::file(envelope, dates);
    let beside = (Vec::new(), file.into_iter().collect());
    whole(envelope, view.subject, &text, html, beside)
}

/// A summary's subject.
pub(in crate::mail) fn summary_subject(words: Words, summary: &Summary) -> String {
    subject_after(words, summary.catch_up, &summary.headline)
}

struct SummaryView<'a> {
    envelope: &'a Envelope<'a>,
    subject: String,
    catch_up: Option<String>,
    summary: &'a Summary,
    advisers: &'a [Adviser<'a>],
}

impl<'a> SummaryView<'a> {
    fn parts(&self) -> Vec<(&'a SummaryPart, &'a Adviser<'a>)> {
        self.summary.parts.iter().zip(self.advisers).collect()
    }

    /// What it stands for, in one sentence.
    fn folded(&self) -> String {
        let letters = self
            .summary
            .parts
            .iter()
            .filter(|part| part.letter.is_some());
        let letters = letters.count();
        let alerts = self.summary.parts.len() - letters;
        let alerts = match alerts {
            0 => None,
            1 => Some("1 mail of key dates".to_owned()),
            alerts => Some(format!("{alerts} mails of key dates")),
        };
        let letters = match letters {
            0 => None,
            1 => Some("1 weekly letter".to_owned()),
            letters => Some(format!("{letters} weekly letters")),
        };
        let folded: Vec<String> = [alerts, letters].into_iter().flatten().collect();
        let folded = folded.join(" and ");
        format!("This one mail stands for {folded}, so that there are not too many a day.")
    }

    /// The words that letters in it use, each once.
    fn terms(&self) -> Vec<&'a str> {
        let letters = self
            .summary
            .parts
            .iter()
            .filter_map(|part| part.letter.as_ref());
        let mut terms: Vec<&'a str> = Vec::new();
        for term in letters.flat_map(|letter| &letter.terms) {
            if !terms.contains(&term.as_str()) {
                terms.push(term);
            }
        }
        terms
    }
}

#[derive(Template)]
#[template(path = "mail/summary.txt")]
struct SummaryText<'a> {
    view: &'a SummaryView<'a>,
}

#[derive(Template)]
#[template(path = "mail/summary.html", whitespace = "minimize")]
struct SummaryHtml<'a> {
    view: &'a SummaryView<'a>,
}
