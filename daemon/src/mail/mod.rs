//! Mails: composed to the last byte, frozen in the outbox, delivered from there.

pub mod compose;
pub mod delivery;
pub mod message;
mod one_line;
