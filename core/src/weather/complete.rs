//! A station's days as one unbroken calendar, with gaps filled and marked.

use chrono::NaiveDate;

use crate::temperature::{Extremes, Temperature};

use super::Element;

/// How a missing value was estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FillMethod {
    /// From departures at the station's declared fall-backs.
    FallBacks,
    /// On a straight line between the days around the gap.
    Interpolated,
    /// From the station's own climate.
    Climate,
}

impl FillMethod {
    /// Every method.
    pub const ALL: [Self; 3] = [Self::FallBacks, Self::Interpolated, Self::Climate];

    /// The name in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::FallBacks => "fall-backs",
            Self::Interpolated => "interpolated",
            Self::Climate => "climate",
        }
    }
}

/// How a value was estimated and how far off it may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The method.
    pub method: FillMethod,
    /// Expected error: the standard deviation of what the method got wrong on known days, °F.
    pub error_f: f64,
}

/// Where a temperature of a completed day comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Origin {
    /// Read at the station.
    Measured,
    /// Confirmed or corrected by hand.
    ByHand,
    /// Estimated.
    Estimated(Estimate),
}

impl Origin {
    /// The estimate, where it is one.
    #[must_use]
    pub const fn estimate(self) -> Option<Estimate> {
        match self {
            Self::Estimated(estimate) => Some(estimate),
            Self::Measured | Self::ByHand => None,
        }
    }
}

/// One day that can be used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CompletedDay {
    /// Minimum and maximum.
    pub extremes: Extremes,
    /// Where the minimum comes from.
    pub min: Origin,
    /// Where the maximum comes from.
    pub max: Origin,
}

impl CompletedDay {
    /// One of its temperatures.
    #[must_use]
    pub const fn temperature(&self, element: Element) -> Temperature {
        match element {
            Element::Min => self.extremes.min(),
            Element::Max => self.extremes.max(),
        }
    }

    /// Where one of its temperatures comes from.
    #[must_use]
    pub const fn origin(&self, element: Element) -> Origin {
        match element {
            Element::Min => self.min,
            Element::Max => self.max,
        }
    }

    /// Whether at least one of its temperatures was estimated.
    #[must_use]
    pub const fn is_estimated(&self) -> bool {
        self.min.estimate().is_some() || self.max.estimate().is_some()
    }
}

/// Every civil day from the first usable one to the newest, in order; `None` where nothing usable
/// is known and nothing could be estimated.
#[derive(Debug, Clone, PartialEq)]
pub struct CompletedSeries {
    first: NaiveDate,
    days: Vec<Option<CompletedDay>>,
}

impl CompletedSeries {
    /// A calendar that begins on `first`.
    #[must_use]
    pub const fn new(first: NaiveDate, days: Vec<Option<CompletedDay>>) -> Self {
        Self { first, days }
    }

    /// The first day of the calendar.
    #[must_use]
    pub const fn first(&self) -> NaiveDate {
        self.first
    }

    /// The days, the first one being [`CompletedSeries::first`].
    #[must_use]
    pub fn days(&self) -> &[Option<CompletedDay>] {
        &self.days
    }

    /// A day of the calendar, where it can be used.
    #[must_use]
    pub fn on(&self, date: NaiveDate) -> Option<&CompletedDay> {
        let position = usize::try_from((date - self.first).num_days()).ok()?;
        self.days.get(position)?.as_ref()
    }
}
