//! The whole program against real things: real SQLite, real HTTP, real mails in a folder, the real
//! binary started, signalled and killed.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod abuse;
mod alerts;
mod answered_farm;
mod answered_folder;
mod answered_mail;
mod answered_receipts;
mod answering;
mod answers;
mod backups;
mod beside;
mod broken;
#[cfg(feature = "crash-points")]
mod chain;
mod commands;
mod corrections;
#[cfg(feature = "crash-points")]
mod crash_answers;
#[cfg(feature = "crash-points")]
mod crash_chain;
#[cfg(feature = "crash-points")]
mod crash_points;
mod crashes;
mod daemon;
mod dropped;
mod entries;
mod faults;
mod feed_by_hand;
mod files;
mod full_disk;
mod harness;
mod hearers;
mod imap;
mod imap_declared;
mod imap_odd;
mod imap_server;
#[cfg(feature = "crash-points")]
mod kept;
mod keys;
mod letters;
mod lost;
mod mailserver;
mod model_values;
mod news;
mod nws;
mod once;
mod outage;
mod outbox;
mod page_client;
mod page_door;
mod page_flood;
mod page_markup;
mod page_visitors;
mod postfix;
mod records;
mod replay;
mod report;
mod rounds;
mod samples;
mod scripted;
mod season;
mod season_faults;
mod sent_back;
mod setup;
mod sheets;
mod smtp;
mod smtp_program;
mod standstill;
mod stations;
mod stations_compare;
mod stations_near;
mod temperatures;
mod together;
mod units;
mod watchdog;
mod wrong_clock;
