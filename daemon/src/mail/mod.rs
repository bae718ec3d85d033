//! Mails: composed to the last byte, frozen in the outbox, delivered from there.

pub mod delivery;
