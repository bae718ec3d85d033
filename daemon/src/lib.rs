//! Duskflight as a library: the daemon, its commands and the demo. The program itself is tiny.

pub mod chart;
pub mod cli;
pub mod clock;
pub mod config;
mod crash;
pub mod demo;
mod error_chain;
pub mod feed;
mod hash;
pub mod health;
pub mod inbox;
pub mod mail;
pub mod nearby;
mod nearest;
mod one_line;
pub mod page;
mod plain_file;
pub mod records;
mod redact;
pub mod report;
pub mod runner;
pub mod secret;
pub mod sheet;
pub mod store;
pub mod telling;
mod tls;
mod trim;
