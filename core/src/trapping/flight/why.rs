//! Why a flight, or one of its days, is not told.

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::orchard::TrapKind;

/// Why there is nothing to read flights from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyNoFlights {
    /// No moth traps hang.
    NoTraps,
    /// Traps of this kind hang and none was read.
    NotRead(TrapKind),
}

/// How far a flight has come whose peak or end is not there yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SoFar {
    /// The newest catch is the highest.
    StillRising,
    /// Catches were not lower on two readings running.
    NotLowerTwice,
    /// The next flight rose before catches were lower.
    RanIntoNext,
    /// Catches are not back at the low on two readings.
    NotBackTwice,
}

/// Why a start or an end of a flight cannot be told, or a peak is less sure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyNoDay {
    /// Moths were caught from the first readings on.
    CaughtFromFirst,
    /// These traps were past their service life before the rise: a fresh lure makes a catch jump.
    FreshLure(Vec<TrapId>),
    /// Too few traps were read between two days.
    TooFewRead {
        /// The last reading before.
        from: NaiveDate,
        /// The next one.
        to: NaiveDate,
    },
    /// These traps were past their service life on that day.
    WerePastLife(NaiveDate, Vec<TrapId>),
    /// An overdue lure was changed just before the highest catch.
    LureJustChanged,
    /// Catches rose again before they were back at the low.
    RoseAgain,
    /// These traps are past their service life at the newest reading.
    ArePastLife(Vec<TrapId>),
    /// Bait bags fade as new nuts split, so lower catches are no fall.
    BagsFade,
}
