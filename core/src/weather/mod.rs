//! Station days: as received, laid on a calendar, screened, and completed into a series.
//!
//! `ReceivedDay → Record (lay) → screen → fill → CompletedSeries`. Each element of a day, minimum
//! or maximum, is judged and filled by itself.

mod answer;
mod borrowed;
mod climate;
mod coast;
mod complete;
mod concern;
mod drift;
mod fill;
mod forecast;
mod fresh;
mod location;
mod record;
mod screen;
mod side_by_side;
mod station;

pub use answer::{Looks, Maxima, Oddity, Written, judge_answer};
pub use borrowed::{Borrowed, Neighbour};
pub use complete::{CompletedDay, CompletedSeries, Estimate, FillMethod, Origin};
pub use concern::{Concern, Prospect, concerns};
pub use drift::Drift;
pub(crate) use forecast::forecast_days;
pub use fresh::{FRESH_DAYS, is_fresh};
pub use location::{FOOT_M, Location};
pub use record::{DayBoundary, StationFacts, is_plausible};
pub use screen::Suspicion;
pub use side_by_side::{MonthlyOffsets, Offset};
pub use station::{EstimatedDay, OwnRecord, StationWeather, Suspect};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::temperature::Unit;

use climate::{Climate, Normal};
use fill::fill;
use record::{Cell, Record};
use screen::{Departures, compare, screen};

/// What a feed sent for one civil day in the station's zone, before any judgement. A value that
/// was missing, or a marker for missing, is `None`: it never becomes a number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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

impl ReceivedDay {
    /// A day without values.
    #[must_use]
    pub const fn empty(date: NaiveDate, unit: Unit) -> Self {
        Self {
            date,
            min: None,
            max: None,
            unit,
            min_flag: None,
            max_flag: None,
        }
    }
}

/// One of the two temperatures of a station day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Element {
    /// The day's lowest temperature.
    Min,
    /// The day's highest temperature.
    Max,
}

impl Element {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Min, Self::Max];

    /// The name in files, tables and the database, `tmin` or `tmax`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Min => "tmin",
            Self::Max => "tmax",
        }
    }

    /// Reads what [`Element::name`] writes.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|element| element.name() == name)
    }
}

/// A received value that somebody vouched for or put right by hand.
#[derive(Debug, Clone, PartialEq)]
pub struct ByHand {
    /// The civil day it is of, not the label of a morning reader.
    pub date: NaiveDate,
    /// Which of its values.
    pub element: Element,
    /// What was decided.
    pub decision: Decision,
}

/// What somebody decided about a received value. Temperatures are in °F.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Decision {
    /// The value as received then is true; it says nothing about another one received later.
    Confirmed {
        /// The value that was confirmed.
        value_f: f64,
    },
    /// This value stands instead, whatever is received.
    Corrected {
        /// The value that stands.
        value_f: f64,
    },
}
