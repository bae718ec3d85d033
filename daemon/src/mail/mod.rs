//! Mails: composed here to the last byte, then frozen in the outbox.

pub mod compose;
pub mod message;
pub(crate) mod one_line;
