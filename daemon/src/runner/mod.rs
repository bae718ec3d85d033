//! Unattended running: what is due, the jobs, and the loop that nudges them.

pub mod due;
pub mod fetching;
pub mod jobs;
mod lock;
mod reload;
mod tasks;

pub use lock::{Lock, LockError};
pub use tasks::run;
