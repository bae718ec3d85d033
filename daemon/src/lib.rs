//! x

pub mod demo;
