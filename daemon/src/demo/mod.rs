//! `duskflight demo`: an invented farm beside a real recorded station, one season night by night
//! through the same code as the daemon, with the date supplied.

mod answers;
pub mod farm;
mod feed_server;
mod files;
mod player;

pub use player::{DemoError, Observer, Played, play};
