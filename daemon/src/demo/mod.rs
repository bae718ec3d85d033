//! What `duskflight demo` plays: an invented farm beside a real station.

pub mod farm;
