//! Setting a password, with a code from the box.

use std::sync::Arc;

use askama::Template;
use axum::Extension;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use tokio::time::{Instant, sleep};

use super::keeper::Keeper;
use super::password::LENGTH;
use super::person::{come_in, meant};
use super::proof::FormProof;
use super::refused::Refused;
use super::sign_in::begin;
use super::visit::Visit;
use crate::page::code::Code;
use crate::page::frame::Frame;
use crate::page::opened::Opened;
use crate::page::page_error::PageError;
use crate::secret::Secret;
use crate::store::{StoreError, doors};

/// What was typed.
#[derive(serde::Deserialize)]
pub(super) struct Typed {
    person: String,
    code: String,
    password: String,
    again: String,
}

#[derive(Debug, Template)]
#[template(path = "page/door/first-password.html")]
struct FirstPassword<'a> {
    frame: Frame,
    proof: &'a str,
    person: &'a str,
    wrong: Option<Wrong>,
    least: usize,
    most: usize,
}

/// What is wrong with what was typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wrong {
    Code,
    Length,
    Again,
}

impl Wrong {
    /// Whether it is about the password, and not about the code.
    const fn is_password(self) -> bool {
        !matches!(self, Self::Code)
    }

    fn words(self) -> String {
        let (least, most) = (LENGTH.start(), LENGTH.end());
        match self {
            Self::Code => "This person and this code do not go together, or the code was used or is older than a day. \
                           Whoever looks after the box can make another."
                .to_owned(),
            Self::Length => format!("A password has {least} to {most} characters; several words are best."),
            Self::Again => "The two passwords differ.".to_owned(),
        }
    }
}

/// The form.
pub(super) async fn form(Extension(FormProof(proof)): Extension<FormProof>) -> Response {
    shown(&proof, "", None)
}

/// Sets a password and lets its owner in. Wrong people and wrong codes say the same.
pub(super) async fn set(
    State(keeper): State<Arc<Keeper>>,
    Extension(visit): Extension<Visit>,
    Extension(FormProof(proof)): Extension<FormProof>,
    opened: Option<Extension<Opened>>,
    Form(typed): Form<Typed>,
) -> Result<Response, Refused> {
    let Extension(Opened { store, config, .. }) = opened.ok_or(PageError::Closed)?;
    if let Err(wrong) = check(&typed) {
        return Ok(shown(&proof, &typed.person, Some(wrong)));
    }
    let pause = begin(&keeper, &visit)?;
    let no = |proof: &str| shown(proof, &typed.person, Some(Wrong::Code));
    let (code, now) = (Code::typed(&typed.code).hash(), keeper.now());
    let Some(person) = meant(&config, &typed.person).map(|person| person.id.clone()) else {
        return Ok(no(&proof));
    };
    let failed = |error: StoreError| PageError::from(error);
    let id = person.clone();
    let is_good = store.read(move |c| doors::is_code_good(c, &id, &code, now));
    if !is_good.await.map_err(failed)? {
        sleep(pause).await;
        return Ok(no(&proof));
    }
    let password = Secret::new(typed.password.clone());
    let hash = keeper.hashing.hash(password, pause).await?;
    let (id, set_to) = (person.clone(), hash.clone());
    let set = store.write(move |t| doors::set_password(t, &id, &code, &set_to, now));
    if !set.await.map_err(failed)? {
        return Ok(no(&proof));
    }
    keeper
        .guesses
        .was_right(visit.caller.address, Instant::now());
    tracing::info!(person.id = %person, "somebody set a password for the page");
    come_in(&store, &visit, (person, hash), "/", now).await
}

fn check(typed: &Typed) -> Result<(), Wrong> {
    if !LENGTH.contains(&typed.password.chars().count()) {
        return Err(Wrong::Length);
    }
    match typed.password == typed.again {
        true => Ok(()),
        false => Err(Wrong::Again),
    }
}

fn shown(proof: &str, person: &str, wrong: Option<Wrong>) -> Response {
    let page = FirstPassword {
        frame: Frame::bare("Set your password"),
        proof,
        person,
        wrong,
        least: *LENGTH.start(),
        most: *LENGTH.end(),
    };
    let status = wrong.map_or(StatusCode::OK, |_| StatusCode::FORBIDDEN);
    match page.render() {
        Ok(page) => (status, Html(page)).into_response(),
        Err(error) => PageError::from(error).into_response(),
    }
}
