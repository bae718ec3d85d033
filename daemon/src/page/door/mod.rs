//! The door: who may come in, and who may change something. Each request is judged in this order: by which name it
//! asks, from where and how it comes, whether a form is one of ours, who has signed in.

mod account;
mod caller;
mod cookie;
mod first_password;
mod guesses;
mod host;
mod keeper;
mod local;
mod origin;
mod password;
mod person;
mod proof;
mod refused;
mod sign_in;
mod visit;

pub(super) use proof::FormProof;
pub(super) use visit::Protected;

use std::sync::Arc;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::{Method, header};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};

use super::headers;
use super::opened::Opened;
use super::page_error::PageError;
use super::visitor::Visitor;
use cookie::Cookie;
use visit::Visit;

pub(super) use keeper::Keeper;

/// Puts the door before pages, which are for who has signed in, and before what anybody may have.
pub(super) fn guard(pages: Router, open: Router, keeper: &Arc<Keeper>) -> Router {
    let inside = Router::new()
        .route("/account", get(account::account))
        .route("/sign-out", post(account::sign_out))
        .route("/end-sessions", post(account::end_sessions))
        .with_state(Arc::clone(keeper))
        .merge(pages)
        .layer(from_fn(for_visitors));
    let before = Router::new()
        .route("/sign-in", get(sign_in::form).post(sign_in::sign_in))
        .route(
            "/first-password",
            get(first_password::form).post(first_password::set),
        )
        .with_state(Arc::clone(keeper))
        .merge(open);
    let door = from_fn_with_state(Arc::clone(keeper), judged);
    inside.merge(before).layer(door)
}

/// Answers what may be asked.
async fn judged(State(keeper): State<Arc<Keeper>>, request: Request, next: Next) -> Response {
    let answer = match keeper.let_in(request).await {
        Ok((request, visit)) => with_visit(next.run(request).await, &visit),
        Err(refused) => refused.into_response(),
    };
    headers::secured(answer)
}

/// Has the browser keep what ties forms to it, where a page went to one that has nothing yet.
fn with_visit(mut answer: Response, visit: &Visit) -> Response {
    let kind = answer.headers().get(header::CONTENT_TYPE);
    let is_page = kind.is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"));
    if let Some(token) = visit.new.filter(|_| is_page) {
        let cookie = Cookie::Visit.kept(&token, visit.caller.by_tls);
        answer.headers_mut().append(header::SET_COOKIE, cookie);
    }
    answer
}

/// Lets nobody on but visitors: others go to the sign-in first, and come back.
async fn for_visitors(request: Request, next: Next) -> Response {
    let extensions = request.extensions();
    if extensions.get::<Visitor>().is_some() {
        return next.run(request).await;
    }
    if extensions.get::<Opened>().is_none() {
        return PageError::Closed.into_response();
    }
    let path = match *request.method() {
        Method::POST => "/",
        _ => request
            .uri()
            .path_and_query()
            .map_or("/", |path| path.as_str()),
    };
    Redirect::to(&local::sign_in_to(path)).into_response()
}

#[cfg(test)]
mod tests;
