//! Answers to our mails: fetched, checked for who may, handed to the records, and answered.

mod automatic;
mod counter;
mod desk;
pub mod folder;
mod form;
pub mod imap;
pub mod letter;
mod orders;
mod page;
mod receipts;
mod take;
mod taken;
mod told;
mod verdict;
mod who;

pub use counter::Counter;
pub use take::{Fate, MOST_BYTES, Message, Place, Taker};
