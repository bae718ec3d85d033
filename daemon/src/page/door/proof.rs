//! What a form of ours carries, so that nobody else's page can send one in somebody's name (CSRF).

use axum::http::HeaderMap;
use axum::http::header::CONTENT_TYPE;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

use super::cookie::Token;

/// In which it stands where a form is sent that was filled in at an earlier page.
const HEADER: &str = "x-proof";
/// How forms are sent.
const FORM: &str = "application/x-www-form-urlencoded";

/// What stands in the hidden field `proof` of each form. The door puts it into every request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::page) struct FormProof(pub(in crate::page) String);

/// The form's field.
#[derive(Debug, serde::Deserialize)]
struct Field {
    proof: String,
}

/// What proofs are made with, of this process alone.
#[derive(Debug, Clone, Copy)]
pub(super) struct Proofs(Token);

/// One that a request must carry.
#[derive(Clone)]
pub(super) struct Proof(Hmac<Sha256>);

impl Proofs {
    /// # Errors
    /// The system gives no random numbers.
    pub(super) fn new() -> Result<Self, getrandom::Error> {
        Ok(Self(Token::random()?))
    }

    /// For forms of a browser in which nobody has signed in.
    pub(super) fn of_visit(self, visit: &Token) -> Proof {
        Proof::made(&self.0, &visit.0)
    }
}

impl Proof {
    /// For forms of a session. It outlives this process, so that a form that was open meanwhile can still be sent.
    pub(super) fn of_session(token: &Token) -> Self {
        Self::made(token, b"duskflight form")
    }

    fn made(key: &Token, about: &[u8]) -> Self {
        let mac = Hmac::new_from_slice(&key.0).expect("a key of any length will do");
        Self(mac.chain_update(about))
    }

    /// As forms show it.
    pub(super) fn shown(&self) -> FormProof {
        let proof = self.0.clone().finalize().into_bytes();
        FormProof(URL_SAFE_NO_PAD.encode(proof))
    }

    /// Whether a request carries it.
    pub(super) fn is_in(&self, headers: &HeaderMap, body: &[u8]) -> bool {
        let given = match headers.get(HEADER) {
            Some(header) => header.to_str().ok().map(ToOwned::to_owned),
            None => field(headers, body),
        };
        let given = given.and_then(|given| URL_SAFE_NO_PAD.decode(given).ok());
        given.is_some_and(|given| self.0.clone().verify_slice(&given).is_ok())
    }
}

/// The field of a form.
fn field(headers: &HeaderMap, body: &[u8]) -> Option<String> {
    let kind = headers.get(CONTENT_TYPE)?.to_str().ok()?;
    let is_form = kind
        .split(';')
        .next()
        .is_some_and(|kind| kind.trim().eq_ignore_ascii_case(FORM));
    let field: Option<Field> = serde_urlencoded::from_bytes(body).ok();
    field.filter(|_| is_form).map(|field| field.proof)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_in(proof: &Proof, headers: &[(&'static str, &str)], body: &str) -> bool {
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.insert(*name, value.parse().unwrap());
        }
        proof.is_in(&map, body.as_bytes())
    }

    #[test]
    fn a_form_carries_the_proof_of_its_own_session_in_its_field_or_a_header() {
        let (token, other) = (Token::random().unwrap(), Token::random().unwrap());
        let proof = Proof::of_session(&token);
        let shown = proof.shown().0;
        let body = format!("person=ada&proof={shown}&long={}", "x".repeat(200_000));
        let form = [("content-type", FORM)];
        assert!(is_in(&proof, &form, &body));
        assert!(is_in(&proof, &[("x-proof", &shown)], ""));
        assert!(!is_in(&Proof::of_session(&other), &form, &body));
        assert!(!is_in(&proof, &[], &body), "not a form");
        for body in ["", "proof=", "proof=AAAA", "person=ada", "proof=%FF"] {
            assert!(!is_in(&proof, &form, body), "{body}");
        }
    }

    #[test]
    fn before_a_sign_in_it_is_of_this_browser_and_this_process() {
        let (one, other) = (Proofs::new().unwrap(), Proofs::new().unwrap());
        let (visit, another) = (Token::random().unwrap(), Token::random().unwrap());
        let shown = one.of_visit(&visit).shown();
        assert_eq!(one.of_visit(&visit).shown(), shown);
        assert_ne!(one.of_visit(&another).shown(), shown);
        assert_ne!(other.of_visit(&visit).shown(), shown);
        assert_ne!(Proof::of_session(&visit).shown(), shown);
    }
}
