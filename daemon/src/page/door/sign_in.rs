//! Signing in, by a person and their password.

use std::sync::Arc;

use askama::Template;
use axum::Extension;
use axum::extract::{Form, Query, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use tokio::time::Instant;

use super::keeper::Keeper;
use super::local::local;
use super::password::NotNow;
use super::person::{come_in, meant};
use super::proof::FormProof;
use super::refused::Refused;
use super::visit::Visit;
use crate::page::frame::Frame;
use crate::page::opened::Opened;
use crate::page::page_error::PageError;
use crate::secret::Secret;
use crate::store::{StoreError, doors};

/// Where to go afterwards.
#[derive(Debug, serde::Deserialize)]
pub(super) struct To {
    #[serde(default)]
    to: String,
}

/// What was typed.
#[derive(Debug, serde::Deserialize)]
pub(super) struct Typed {
    person: String,
    password: String,
    #[serde(default)]
    to: String,
}

#[derive(Debug, Template)]
#[template(path = "page/door/sign-in.html")]
struct SignIn<'a> {
    frame: Frame,
    proof: &'a str,
    to: &'a str,
    person: &'a str,
    is_wrong: bool,
}

/// The form.
pub(super) async fn form(
    Query(To { to }): Query<To>,
    Extension(FormProof(proof)): Extension<FormProof>,
) -> Response {
    shown(&proof, local(&to), "", false)
}

/// Lets somebody in whose password is right. Wrong people and wrong passwords cost and say the same.
pub(super) async fn sign_in(
    State(keeper): State<Arc<Keeper>>,
    Extension(visit): Extension<Visit>,
    Extension(FormProof(proof)): Extension<FormProof>,
    opened: Option<Extension<Opened>>,
    Form(typed): Form<Typed>,
) -> Result<Response, Refused> {
    let Extension(opened) = opened.ok_or(PageError::Closed)?;
    let pause = begin(&keeper, &visit)?;
    let person = meant(&opened.config, &typed.person).map(|person| person.id.clone());
    let id = person.clone();
    let kept = opened
        .reader
        .read(move |c| id.map_or(Ok(None), |id| doors::password(c, &id)))
        .await
        .map_err(|error: StoreError| PageError::from(error))?;
    // What is longer than any password is none, and need not be normalised.
    let too_long = typed.password.len() > 4 * super::password::LENGTH.end();
    let password = if too_long {
        String::new()
    } else {
        typed.password
    };
    let right = keeper
        .hashing
        .is_right(Secret::new(password), kept.clone(), pause);
    let is_right = right.await? && !too_long;
    match person.zip(kept).filter(|_| is_right) {
        Some(known) => {
            let (person, _) = &known;
            keeper
                .guesses
                .was_right(visit.caller.address, Instant::now());
            tracing::info!(person.id = %person, "somebody signed in at the page");
            let to = local(&typed.to);
            come_in(&opened.store, &visit, known, to, keeper.now()).await
        }
        _ => Ok(shown(&proof, local(&typed.to), &typed.person, true)),
    }
}

/// Counts a try, and gives how much longer it is to take.
pub(super) fn begin(keeper: &Keeper, visit: &Visit) -> Result<std::time::Duration, Refused> {
    let begun = keeper.guesses.begin(visit.caller.address, Instant::now());
    begun.map_err(|wait| Refused::Wait(wait.as_secs() + 1))
}

impl From<NotNow> for Refused {
    fn from(not_now: NotNow) -> Self {
        match not_now {
            NotNow::Busy => Self::Busy,
            NotNow::Failed(why) => Self::Failed(why),
        }
    }
}

fn shown(proof: &str, to: &str, person: &str, is_wrong: bool) -> Response {
    let page = SignIn {
        frame: Frame::bare("Sign in"),
        proof,
        to,
        person,
        is_wrong,
    };
    let status = if is_wrong {
        StatusCode::FORBIDDEN
    } else {
        StatusCode::OK
    };
    match page.render() {
        Ok(page) => (status, Html(page)).into_response(),
        Err(error) => PageError::from(error).into_response(),
    }
}
