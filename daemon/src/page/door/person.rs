//! Somebody who comes in: found by what they typed, let in by a session of their own.

use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Redirect, Response};
use chrono::{DateTime, Utc};
use duskflight_core::id::PersonId;

use super::cookie::{Cookie, Token};
use super::keeper::hash_of;
use super::refused::Refused;
use super::visit::Visit;
use crate::config::{Config, Person};
use crate::page::page_error::PageError;
use crate::store::{Store, StoreError, doors};

/// The longest id or address that is looked for, in bytes.
const LONGEST: usize = 300;

/// Who was meant, by their id or one of their addresses.
pub(super) fn meant<'a>(config: &'a Config, typed: &str) -> Option<&'a Person> {
    let typed = typed.trim();
    let is_meant = |person: &&Person| {
        let mut addresses = person.addresses.iter().chain([&person.email]);
        person.id.as_str().eq_ignore_ascii_case(typed)
            || addresses.any(|address| address.eq_ignore_ascii_case(typed))
    };
    let mut people = config.people.iter();
    people.find(is_meant).filter(|_| typed.len() <= LONGEST)
}

/// Begins a session with a token that nobody had before, ends the one that the browser had, and goes on to a path; back to
/// the sign-in where the password with this hash was replaced meanwhile.
pub(super) async fn come_in(
    store: &Store,
    visit: &Visit,
    (person, password): (PersonId, String),
    to: &str,
    now: DateTime<Utc>,
) -> Result<Response, Refused> {
    let token = Token::random().map_err(|error| Refused::Failed(error.to_string()))?;
    let (begun, ended) = (hash_of(&token), visit.session.as_ref().map(hash_of));
    let has_begun = store
        .write(move |t| {
            if let Some(ended) = ended {
                doors::end_session(t, &ended)?;
            }
            let stands = doors::password(t, &person)? == Some(password);
            if stands {
                doors::begin_session(t, &person, &begun, now)?;
            }
            Ok(stands)
        })
        .await
        .map_err(|error: StoreError| PageError::from(error))?;
    if !has_begun {
        return Ok(Redirect::to("/sign-in").into_response());
    }
    let cookie = Cookie::Session.kept(&token, visit.caller.by_tls);
    Ok(([(SET_COOKIE, cookie)], Redirect::to(to)).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn somebody_is_meant_by_their_id_or_any_of_their_addresses() {
        let full = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/full");
        let config = Config::read(&full).unwrap();
        let check = |typed: &str, expected: Option<&str>| {
            let found = meant(&config, typed).map(|person| person.id.as_str());
            assert_eq!(found, expected, "{typed}");
        };
        check("sam", Some("sam"));
        check(" Sam ", Some("sam"));
        check("SAM@orchards.example", Some("sam"));
        check("sam.rowe@phone.example", Some("sam"));
        check("Sam Rowe", None);
        check("", None);
    }
}
