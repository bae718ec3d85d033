//! The trade of watching navel orangeworm, as pure functions.
//!
//! Values and a date go in, values come out: nothing here reads a clock, a file, a socket or the
//! environment. Modules depend on each other in one direction only:
//! `temperature ← heat, weather ← insect, orchard ← trapping ← season ← ledger ← wording ← contents, answer`.

#![forbid(unsafe_code)]

pub mod answer;
pub mod contents;
pub mod heat;
pub mod id;
pub mod insect;
pub mod ledger;
pub mod orchard;
mod same_day;
#[cfg(test)]
mod sample;
pub mod season;
mod statistics;
pub mod temperature;
pub mod trapping;
pub mod weather;
pub mod wording;
