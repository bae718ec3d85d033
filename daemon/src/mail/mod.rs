//! Mails: composed to the last byte, frozen in the outbox, delivered from there.

mod bytewise;
mod calendar;
pub mod chart;
pub mod compose;
pub mod contents;
pub mod delivery;
mod folder;
pub mod message;
pub(crate) mod one_line;
mod patience;
mod shown;
mod smtp;
pub mod transport;
pub mod verdict;

pub(crate) use folder::file_stem;
