//! Station days: as received, screened, and completed into a series without short gaps.

mod complete;
mod screen;

pub use complete::{
    CompletedDay, CompletedSeries, LONGEST_INTERPOLATED_GAP_DAYS, Origin, complete,
};
pub use screen::{Screened, Suspicion, screen};

use chrono::NaiveDate;

use crate::temperature::Unit;

/// What a feed sent for one civil day in the station's zone, before any judgement. A value that
/// was missing, or a marker for missing, is `None`: it never becomes a number.
#[derive(Debug, Clone, PartialEq)]
pub struct ReceivedDay {
    /// The civil day the station reports it for.
    pub date: NaiveDate,
    /// Lowest temperature, in `unit`.
    pub min: Option<f64>,
    /// Highest temperature, in `unit`.
    pub max: Option<f64>,
    /// The unit of both values.
    pub unit: Unit,
    /// The provider's own quality flag on the minimum, when it marks the value as doubtful.
    pub min_flag: Option<String>,
    /// The provider's own quality flag on the maximum, when it marks the value as doubtful.
    pub max_flag: Option<String>,
}
