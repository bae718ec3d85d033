//! Whoever keeps the door: what was declared, and what is remembered of those who came.

use std::sync::Arc;

use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, Method};
use chrono::{DateTime, Utc};
use duskflight_core::id::PersonId;
use sha2::{Digest, Sha256};

use super::caller::Caller;
use super::cookie::{Cookie, Token};
use super::guesses::Guesses;
use super::host::Names;
use super::origin;
use super::password::Hashing;
use super::proof::{Proof, Proofs};
use super::refused::Refused;
use super::visit::{Protected, Visit};
use crate::clock::Clock;
use crate::config::Page;
use crate::page::opened::{Farm, Opened};
use crate::page::page_error::PageError;
use crate::page::peer::Peer;
use crate::page::visitor::Visitor;
use crate::store::doors::{self, Hash};
use crate::store::{Store, StoreError};

/// Whoever keeps the door.
#[derive(Debug)]
pub(in crate::page) struct Keeper {
    page: Page,
    farm: Farm,
    clock: Arc<dyn Clock>,
    names: Names,
    proofs: Proofs,
    /// What was guessed.
    pub(super) guesses: Guesses,
    /// Where passwords are looked at.
    pub(super) hashing: Hashing,
}

impl Keeper {
    /// # Errors
    /// The system gives no random numbers.
    pub(in crate::page) fn new(
        page: &Page,
        farm: Farm,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, getrandom::Error> {
        Ok(Self {
            names: Names::new(&page.names),
            page: page.clone(),
            farm,
            clock,
            proofs: Proofs::new()?,
            guesses: Guesses::default(),
            hashing: Hashing::default(),
        })
    }

    /// The present instant.
    pub(super) fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// Judges a request, and writes down in it who asks.
    pub(super) async fn let_in(&self, mut request: Request) -> Result<(Request, Visit), Refused> {
        let peer = *request.extensions().get::<Peer>().ok_or(Refused::Host)?;
        let headers = request.headers();
        let asked = self.names.asked(request.uri(), headers, peer.here);
        let asked = asked.ok_or(Refused::Host)?;
        let caller = Caller::new(peer, headers, &self.page.trusted_proxies);
        caller.may_ask(self.page.sign_in).map_err(Refused::Caller)?;
        let changes = match *request.method() {
            Method::GET | Method::HEAD => false,
            Method::POST => true,
            _ => return Err(Refused::Method),
        };
        if changes && !origin::is_our_own(headers, &asked) {
            return Err(Refused::Origin);
        }
        let opened = self.farm.borrow().clone();
        let (visit, visitor) = self.visit(caller, headers, opened.as_ref()).await?;
        if changes {
            request = carries(request, &visit.proof).await?;
        }
        let extensions = request.extensions_mut();
        extensions.insert(visit.clone());
        extensions.insert(visit.proof.shown());
        extensions.insert(Protected(caller.is_protected()));
        if let Some(opened) = opened {
            extensions.insert(opened);
        }
        if let Some(visitor) = visitor {
            extensions.insert(visitor);
        }
        Ok((request, visit))
    }

    /// Who it is, by what their browser kept.
    async fn visit(
        &self,
        caller: Caller,
        headers: &HeaderMap,
        opened: Option<&Opened>,
    ) -> Result<(Visit, Option<Visitor>), Refused> {
        let session = Cookie::Session.read(headers, caller.by_tls);
        if let (Some(token), Some(opened), true) = (session, opened, self.page.sign_in)
            && let Some(person) = self.signed_in(&token, opened).await?
        {
            let visit = Visit {
                caller,
                session: Some(token),
                proof: Proof::of_session(&token),
                new: None,
            };
            return Ok((visit, Some(Visitor::Person(person))));
        }
        let known = Cookie::Visit.read(headers, caller.by_tls);
        let token = known.map_or_else(Token::random, Ok);
        let token = token.map_err(|error| Refused::Failed(error.to_string()))?;
        let visit = Visit {
            caller,
            session: None,
            proof: self.proofs.of_visit(&token),
            new: Some(token).filter(|_| known.is_none()),
        };
        let visitor = (!self.page.sign_in && opened.is_some()).then_some(Visitor::AtTheMachine);
        Ok((visit, visitor))
    }

    /// Whose session it is, as long as they are declared.
    async fn signed_in(
        &self,
        token: &Token,
        opened: &Opened,
    ) -> Result<Option<PersonId>, PageError> {
        let (hash, now) = (hash_of(token), self.now());
        let found = opened
            .reader
            .read(move |c| doors::session(c, &hash, now))
            .await?;
        let Some((person, is_to_note)) = found else {
            return Ok(None);
        };
        if opened.config.person(&person).is_none() {
            let end = move |t: &rusqlite::Transaction<'_>| doors::end_session(t, &hash);
            opened.store.write(end).await?;
            return Ok(None);
        }
        if is_to_note {
            note_use(&opened.store, hash, now).await;
        }
        Ok(Some(person))
    }
}

/// A use that cannot be noted, as on a full disk, keeps nobody from looking.
async fn note_use(store: &Store, hash: Hash, now: DateTime<Utc>) {
    let noted: Result<(), StoreError> = store.write(move |t| doors::note_use(t, &hash, now)).await;
    if let Err(error) = noted {
        tracing::debug!(%error, "the use of a session is not noted");
    }
}

/// What is kept of a session's token.
pub(super) fn hash_of(token: &Token) -> Hash {
    Sha256::digest(token.0).into()
}

/// The same request, once it is known to carry a proof.
async fn carries(request: Request, proof: &Proof) -> Result<Request, Refused> {
    let (parts, body) = request.into_parts();
    // Listening has it as a whole already, and lets no more through than it may hold.
    let body = to_bytes(body, usize::MAX).await;
    let body = body.map_err(|error| Refused::Failed(error.to_string()))?;
    match proof.is_in(&parts.headers, &body) {
        true => Ok(Request::from_parts(parts, Body::from(body))),
        false => Err(Refused::Proof),
    }
}
