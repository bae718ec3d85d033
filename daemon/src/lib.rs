//! x
pub mod mail;
