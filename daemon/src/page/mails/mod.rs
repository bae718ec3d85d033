//! Mails: those that wait, those that went, those of the next morning.

mod list;
mod one;
mod tomorrow;
mod whose;

pub(super) use list::{act, mails};
pub(super) use one::{body, mail};
pub(super) use tomorrow::tomorrow;
