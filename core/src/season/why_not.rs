//! Why a season has no heat or no date.

use chrono::NaiveDate;

use crate::id::StationId;

/// Why heat, or the date of a mark, cannot be told. In this order a digest lists them.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum WhyNot {
    /// The newest temperatures are older than the day from which heat counts.
    NewestBefore {
        /// The newest station day.
        newest: NaiveDate,
        /// The day from which heat counts.
        from: NaiveDate,
    },
    /// There is no egg-laying start to count from.
    NoStart,
    /// The station's temperatures are missing.
    NoTemperatures {
        /// The station.
        station: StationId,
        /// The first missing day; `None` where it has sent none at all yet.
        day: Option<NaiveDate>,
    },
    /// Temperatures begin after the day from which heat counts.
    BeginAfter {
        /// The first station day.
        first: NaiveDate,
        /// The day from which heat counts.
        from: NaiveDate,
    },
    /// In half of the past years or more the mark is not reached before the year ends.
    NotReached {
        /// In so many.
        years: usize,
        /// Of so many.
        of: usize,
    },
    /// No past year is whole from a day on.
    NoPastYear {
        /// The station.
        station: StationId,
        /// Its newest day.
        newest: NaiveDate,
    },
    /// The insect has no marks in this crop; why is said in its file.
    WithoutMarks(String),
}
