//! Why a page cannot be shown, and what stands there instead.

use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use super::frame::{Frame, Note};
use crate::error_chain::error_chain;
use crate::mail::message::ComposeError;
use crate::report::ReportError;
use crate::store::StoreError;
use crate::telling::TellError;
use crate::telling::in_hand::InHandError;

/// Why a page cannot be shown.
#[derive(Debug, thiserror::Error)]
pub(super) enum PageError {
    /// There is no such thing, or it is none of the visitor's: both look the same.
    #[error("no such page")]
    NotThere,
    /// What was asked for cannot be read.
    #[error("{0}")]
    Asked(String),
    /// Nothing is published.
    #[error("the records cannot be used just now")]
    Closed,
    /// The records.
    #[error("read the records")]
    Store(#[from] StoreError),
    /// A report.
    #[error("make a report")]
    Report(#[from] ReportError),
    /// A preview.
    #[error("prepare mails")]
    Tell(#[from] TellError),
    /// A mail.
    #[error("compose a mail")]
    Compose(#[from] ComposeError),
    /// A template.
    #[error("write the page")]
    Template(#[from] askama::Error),
}

impl From<InHandError> for PageError {
    fn from(error: InHandError) -> Self {
        match error {
            InHandError::Store(error) => Self::Store(error),
            InHandError::Compose(error) => Self::Compose(error),
            error => Self::Asked(format!("{error}.")),
        }
    }
}

impl PageError {
    const fn status(&self) -> StatusCode {
        match self {
            Self::NotThere => StatusCode::NOT_FOUND,
            Self::Asked(_) => StatusCode::BAD_REQUEST,
            Self::Closed => StatusCode::SERVICE_UNAVAILABLE,
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// The heading and what one can do.
    fn words(&self) -> (&'static str, String) {
        match self {
            Self::NotThere => (
                "Nothing here",
                "There is no such page, or it is about a block that is not yours. Begin again from the farm.".to_owned(),
            ),
            Self::Asked(what) => ("That cannot be looked up", what.clone()),
            Self::Closed => (
                "Not just now",
                "The records are being opened, or cannot be used. Mails say so when it lasts; `duskflight status` on the \
                 box says why.".to_owned(),
            ),
            _ => (
                "Something is wrong",
                "The page could not be made; the log of the box says why. Nothing was changed.".to_owned(),
            ),
        }
    }
}

impl IntoResponse for PageError {
    fn into_response(self) -> Response {
        if self.status() == StatusCode::INTERNAL_SERVER_ERROR {
            tracing::error!(error = error_chain(&self), "a page cannot be shown");
        }
        let (title, words) = self.words();
        let note = Note {
            frame: Frame::bare(title),
            words,
        };
        let page = askama::Template::render(&note).unwrap_or_default();
        (self.status(), Html(page)).into_response()
    }
}
