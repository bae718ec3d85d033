//! The only SQL: one SQLite file, one thread that owns its connection, numbered migrations.
//!
//! Other code hands closures to [`Store::write`] and [`Store::read`]; the files of this module
//! have the statements, one file for each kind of record.

pub mod alarm;
pub mod alerts;
pub mod answers;
pub mod answers_aside;
pub mod backup;
mod beside;
pub mod changes;
pub mod clock_doubt;
mod column;
mod connection;
mod damage;
pub mod days;
pub mod decisions;
pub mod disk_space;
pub mod doors;
pub mod entered;
pub mod entries;
mod error;
pub mod feed_pace;
pub mod feed_version;
pub mod folding;
pub mod forecasts;
mod in_use;
pub mod inspect;
pub mod jobs;
pub mod journal;
pub mod kept_starts;
pub mod made;
pub mod mails_shown;
mod migration;
pub mod notes;
mod opening;
pub mod outbox;
pub mod outbox_edit;
pub mod outbox_report;
pub mod page_forms;
pub mod place;
pub mod restore;
pub mod retention;
#[cfg(test)]
mod sample;
pub mod set_aside;
mod shrink;
pub mod snapshot;
pub mod told;
mod unusable;
pub mod visits;

pub use connection::Store;
pub use error::{CopyError, StoreError};
pub use unusable::Unusable;

pub(crate) use column::{day, instant, parsed, text};
