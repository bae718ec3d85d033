//! One request that was let in.

use super::caller::Caller;
use super::cookie::Token;
use super::proof::Proof;

/// Who asks, and what ties them to their browser.
#[derive(Clone)]
pub(super) struct Visit {
    /// Who asks, by their address.
    pub(super) caller: Caller,
    /// The token of their session, where they have one.
    pub(super) session: Option<Token>,
    /// What their forms carry.
    pub(super) proof: Proof,
    /// What is to tie forms to their browser, where nothing did.
    pub(super) new: Option<Token>,
}

/// Whether nobody between a visitor and us reads or changes what they send. The door puts it into every request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::page) struct Protected(pub(in crate::page) bool);
