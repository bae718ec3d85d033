//! The daemon: fetches station days, keeps records, and tells people what changed.

pub mod feed;
