//! How a try to hand a mail over fails.

use super::reply_class::ReplyClass;

/// Why a mail could not be handed over.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct SendError {
    /// What it means.
    pub class: ReplyClass,
    /// Whether it would befall every other mail, too.
    pub of_all: bool,
    /// What happened, without addresses and secrets.
    pub reason: String,
    /// Whether the mail may have been taken all the same, without our hearing of it.
    pub may_be_taken: bool,
}

impl SendError {
    /// What to mend, where it is ours to mend.
    #[must_use]
    pub const fn advice(&self) -> Option<&'static str> {
        match self.class {
            ReplyClass::OurFault { advice } => Some(advice),
            _ => None,
        }
    }

    /// What happened and what to mend.
    #[must_use]
    pub fn words(&self) -> String {
        match self.advice() {
            Some(advice) => format!("{}; {advice}", self.reason),
            None => self.reason.clone(),
        }
    }
}
