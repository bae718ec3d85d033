//! Duskflight as a library: the daemon, its commands and the demo. The program itself is tiny.

pub mod cli;
pub mod clock;
pub mod config;
mod crash;
pub mod demo;
mod error_chain;
pub mod feed;
mod hash;
pub mod mail;
mod nearest;
mod one_line;
mod plain_file;
pub mod records;
pub mod runner;
pub mod secret;
pub mod sheet;
pub mod store;
pub mod telling;
mod trim;
