//! Somebody who has signed in: who they are, and how they leave.

use askama::Template;
use axum::Extension;
use axum::http::header::SET_COOKIE;
use axum::response::{Html, IntoResponse, Redirect, Response};

use super::cookie::Cookie;
use super::keeper::hash_of;
use super::proof::FormProof;
use super::visit::Visit;
use crate::page::frame::Frame;
use crate::page::opened::Opened;
use crate::page::page_error::PageError;
use crate::page::visitor::Visitor;
use crate::store::doors;

#[derive(Debug, Template)]
#[template(path = "page/door/account.html")]
struct Account<'a> {
    frame: Frame,
    proof: &'a str,
    name: &'a str,
    sessions: u32,
}

/// Who they are, in how many browsers, and two ways out.
pub(super) async fn account(
    Extension(visitor): Extension<Visitor>,
    Extension(FormProof(proof)): Extension<FormProof>,
    Extension(Opened { reader, config, .. }): Extension<Opened>,
) -> Result<Response, PageError> {
    let Visitor::Person(id) = visitor else {
        return Err(PageError::NotThere);
    };
    let person = config.person(&id).ok_or(PageError::NotThere)?;
    let sessions = reader.read(move |c| doors::sessions_of(c, &id)).await?;
    let page = Account {
        frame: Frame::bare("Your sign-in"),
        proof: &proof,
        name: &person.name,
        sessions,
    };
    Ok(Html(page.render()?).into_response())
}

/// Ends this session.
pub(super) async fn sign_out(
    Extension(visit): Extension<Visit>,
    Extension(Opened { store, .. }): Extension<Opened>,
) -> Result<Response, PageError> {
    if let Some(session) = visit.session.as_ref().map(hash_of) {
        store
            .write(move |t| doors::end_session(t, &session))
            .await?;
    }
    Ok(gone(&visit))
}

/// Ends all their sessions, this one, too.
pub(super) async fn end_sessions(
    Extension(visitor): Extension<Visitor>,
    Extension(visit): Extension<Visit>,
    Extension(Opened { store, .. }): Extension<Opened>,
) -> Result<Response, PageError> {
    if let Visitor::Person(id) = visitor {
        tracing::info!(person.id = %id, "somebody ended all their sessions at the page");
        store
            .write(move |t| doors::end_sessions(t, Some(&id)))
            .await?;
    }
    Ok(gone(&visit))
}

fn gone(visit: &Visit) -> Response {
    let forgotten = Cookie::Session.forgotten(visit.caller.by_tls);
    ([(SET_COOKIE, forgotten)], Redirect::to("/sign-in")).into_response()
}
