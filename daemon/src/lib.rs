//! The service around the trade: it fetches, stores, renders and sends what `duskflight_core`
//! decides.

pub mod cli;
