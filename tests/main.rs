//! The whole program against real things: real SQLite, real HTTP, real mails in a folder, the real
//! binary started, signalled and killed.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod alerts;
mod backups;
mod beside;
mod broken;
#[cfg(feature = "crash-points")]
mod chain;
mod commands;
mod corrections;
#[cfg(feature = "crash-points")]
mod crash_chain;
#[cfg(feature = "crash-points")]
mod crash_points;
mod crashes;
mod daemon;
mod dropped;
mod entries;
mod faults;
mod files;
mod full_disk;
mod harness;
mod hearers;
#[cfg(feature = "crash-points")]
mod kept;
mod lost;
mod mailserver;
mod news;
mod once;
mod outage;
mod outbox;
mod postfix;
mod records;
mod replay;
mod rounds;
mod samples;
mod scripted;
mod season;
mod season_faults;
mod setup;
mod smtp;
mod smtp_program;
mod standstill;
mod stations;
mod temperatures;
mod together;
mod watchdog;
mod wrong_clock;
