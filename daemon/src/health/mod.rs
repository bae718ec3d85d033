//! Whether the work was done: the newest day of each station, the last run of each job, the outbox, the clock.

mod found;
mod lines;
mod stale;

pub use found::Found;
pub use lines::{
    Line, WARNING, lines, local, next_digests, outbox_words, run_words, trouble_words,
};
pub use stale::stale;
