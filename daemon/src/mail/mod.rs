//! Mails: composed to the last byte from their contents, frozen in the outbox, delivered from there.

mod adviser;
mod calendar;
pub mod chart;
pub mod compose;
pub mod contents;
pub mod delivery;
mod folder;
mod gallery;
pub mod message;
mod redact;
pub mod render;
pub mod reply_class;
mod retry;
mod send_error;
mod smtp;
pub mod transport;
pub mod whole_calendar;

pub use send_error::SendError;

pub(crate) use folder::file_stem;
