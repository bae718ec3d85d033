//! Unattended running: what is due, the jobs, and the loop that nudges them.

mod ask_time;
pub mod backfill;
pub mod due;
pub mod fetching;
pub mod gate;
mod heartbeat;
pub mod jobs;
pub mod keeping;
mod lock;
mod mailbox;
mod operator;
mod pace;
mod reload;
mod run;
mod said;
mod service_manager;
mod standing;
mod standstill;
mod task;
mod tasks;
#[cfg(test)]
mod test_farm;
mod timekeeper;

pub use lock::{Lock, LockError};
pub use run::run;
pub use service_manager::reloading;
