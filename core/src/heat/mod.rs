//! Heat units: the degree-days of one day, and of a run of days.

mod daily;
mod series;

pub use daily::{Curve, Cutoff, HeatModel, HeatModelError, Method, Thresholds};
pub use series::{Accumulated, HeatSeries};
