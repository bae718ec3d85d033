//! Unattended running: what is due, the jobs, and the loop that nudges them.

mod declared;
pub mod due;
pub mod fetching;
pub mod jobs;
mod lanes;
mod lock;

pub use lanes::run;
pub use lock::{Lock, LockError};
