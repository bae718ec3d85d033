//! `visits export` and `notes export`: sheets that import to the same records.

use std::ops::RangeInclusive;

use anyhow::Context;
use chrono::NaiveDate;
use clap::Args;

use crate::cli::Failure;
use crate::cli::common::{ConfigDir, print, store_to_read};
use crate::records::{Kind, notes_csv, visits_csv};
use crate::store::{notes, visits};

/// The first and the last day that the records can be of.
const EVER: [NaiveDate; 2] = [
    NaiveDate::from_ymd_opt(0, 1, 1).expect("a day of the calendar"),
    NaiveDate::from_ymd_opt(9999, 12, 31).expect("a day of the calendar"),
];

#[derive(Debug, Args)]
pub(crate) struct Export {
    #[command(flatten)]
    config: ConfigDir,
    /// Only from this civil day on, YYYY-MM-DD
    #[arg(long)]
    from: Option<NaiveDate>,
    /// Only up to this civil day, YYYY-MM-DD
    #[arg(long)]
    to: Option<NaiveDate>,
}

impl Export {
    pub(super) async fn run(self, kind: Kind) -> Result<(), Failure> {
        let store = store_to_read(&*self.config.read()?)?;
        let days = self.days();
        let read = match kind {
            Kind::Visits => {
                store
                    .read(move |c| Ok(visits_csv(&visits::entered_between(c, days)?)))
                    .await
            }
            Kind::Notes => {
                store
                    .read(move |c| Ok(notes_csv(&notes::between(c, days)?)))
                    .await
            }
        };
        let read: Result<String, crate::store::StoreError> = read;
        print(&read.context("read the records")?)
    }

    fn days(&self) -> RangeInclusive<NaiveDate> {
        let [first, last] = EVER;
        self.from.unwrap_or(first)..=self.to.unwrap_or(last)
    }
}
