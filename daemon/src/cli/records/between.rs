//! The days of records that a command is about.

use std::ops::RangeInclusive;

use chrono::NaiveDate;
use clap::Args;

/// The first and the last day that the records can be of.
const EVER: [NaiveDate; 2] = [
    NaiveDate::from_ymd_opt(0, 1, 1).expect("a day of the calendar"),
    NaiveDate::from_ymd_opt(9999, 12, 31).expect("a day of the calendar"),
];

#[derive(Debug, Args)]
pub(super) struct Between {
    /// Only from this civil day on, YYYY-MM-DD
    #[arg(long)]
    from: Option<NaiveDate>,
    /// Only up to this civil day, YYYY-MM-DD
    #[arg(long)]
    to: Option<NaiveDate>,
}

impl Between {
    pub(super) fn days(&self) -> RangeInclusive<NaiveDate> {
        let [first, last] = EVER;
        self.from.unwrap_or(first)..=self.to.unwrap_or(last)
    }
}
