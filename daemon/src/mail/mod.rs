//! Mails: composed to the last byte from their contents, frozen in the outbox, delivered from there.

mod adviser;
pub mod answerable;
mod calendar;
pub mod compose;
pub mod contents;
pub mod delivery;
mod folder;
mod gallery;
pub mod left;
pub mod mark;
pub mod message;
pub mod render;
pub mod reply_class;
mod retry;
mod send_error;
mod smtp;
pub mod transport;
pub mod whole_calendar;

pub use send_error::SendError;

pub(crate) use folder::file_stem;
