//! Why a request is refused, and what whoever asked can do.

use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use crate::page::frame::{Frame, Note};
use crate::page::page_error::PageError;

/// Why a request is refused.
#[derive(Debug)]
pub(super) enum Refused {
    /// It asks by a name that is not ours.
    Host,
    /// It comes from where it may not.
    Caller(&'static str),
    /// It is neither a look nor a form.
    Method,
    /// The form is of a page of somebody else.
    Origin,
    /// The form carries no proof that it is one of ours.
    Proof,
    /// Too many wrong tries: how many seconds to wait.
    Wait(u64),
    /// Too many at once.
    Busy,
    /// A page of ours cannot be shown.
    Page(PageError),
    /// Something unexpected.
    Failed(String),
}

impl From<PageError> for Refused {
    fn from(error: PageError) -> Self {
        Self::Page(error)
    }
}

impl Refused {
    const fn status(&self) -> StatusCode {
        match self {
            Self::Host => StatusCode::MISDIRECTED_REQUEST,
            Self::Caller(_) | Self::Origin | Self::Proof => StatusCode::FORBIDDEN,
            Self::Method => StatusCode::METHOD_NOT_ALLOWED,
            Self::Wait(_) => StatusCode::TOO_MANY_REQUESTS,
            Self::Busy => StatusCode::SERVICE_UNAVAILABLE,
            Self::Page(_) | Self::Failed(_) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// The heading and what to do.
    fn words(&self) -> (&'static str, String) {
        let (title, words) = match self {
            Self::Host => (
                "Not known by this name",
                "Ask by an address of this machine or its name. Further names are declared on the box: names in [page].",
            ),
            Self::Caller(why) => ("Not shown here", *why),
            Self::Method => ("Not understood", "Pages are looked at, and forms are sent."),
            Self::Origin => (
                "Not from this page",
                "This form was not sent by a page of this farm, and nothing was changed. Open the page anew and send \
                 it from there.",
            ),
            Self::Proof => (
                "This form is too old",
                "Nothing was changed. It was opened before the last sign-in or before the box was started anew: go back, \
                 load the page again, and send it once more.",
            ),
            Self::Wait(seconds) => {
                let words = format!(
                    "There were several wrong tries from your address. Wait {seconds} s, then try again; whoever has \
                     signed in already is not held up."
                );
                return ("Wait a little", words);
            }
            Self::Busy => (
                "Wait a little",
                "Many are signing in just now. Try again in some seconds.",
            ),
            Self::Page(_) | Self::Failed(_) => (
                "Something is wrong",
                "This could not be done; the log of the box says why. Nothing was changed.",
            ),
        };
        (title, words.to_owned())
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        match self {
            Self::Page(error) => return error.into_response(),
            Self::Failed(ref why) => tracing::error!(why, "the door of the page failed"),
            _ => {}
        }
        let status = self.status();
        let (title, words) = self.words();
        // Whoever asks by a wrong name is shown nothing that looks like a page of ours.
        if matches!(self, Self::Host) {
            return (status, format!("{title}. {words}\n")).into_response();
        }
        let note = Note {
            frame: Frame::bare(title),
            words,
        };
        let page = askama::Template::render(&note).unwrap_or_default();
        let mut answer = (status, Html(page)).into_response();
        let retry = match self {
            Self::Wait(seconds) => Some(seconds),
            Self::Busy => Some(5),
            _ => None,
        };
        if let Some(seconds) = retry {
            answer
                .headers_mut()
                .insert(header::RETRY_AFTER, seconds.into());
        }
        answer
    }
}
