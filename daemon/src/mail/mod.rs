//! Mails: composed to the last byte, frozen in the outbox, delivered from there.

mod adviser;
mod calendar;
pub mod chart;
pub mod compose;
pub mod contents;
pub mod delivery;
mod folder;
pub mod message;
mod no_read_ahead;
mod redact;
pub mod reply_class;
mod retry;
mod send_error;
mod smtp;
pub mod transport;

pub use send_error::SendError;

pub(crate) use folder::file_stem;
