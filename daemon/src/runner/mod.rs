//! Unattended running: what is due, the jobs, and the loop that nudges them.

pub mod due;
pub mod fetching;
pub mod jobs;
pub mod keeping;
mod lock;
mod pace;
mod reload;
mod run;
mod said;
mod tasks;
#[cfg(test)]
mod test_farm;

pub use lock::{Lock, LockError};
pub use run::run;
