//! `duskflight feed`: what feeds say when they are asked by hand, and their answers that are kept aside.

mod aside;
mod backfill;
mod kinds;
mod once;

use clap::Subcommand;

use super::Failure;

/// Feeds by hand: what there are, ask once and see what is understood, fetch past days, judge answers kept aside
///
/// An answer that is odd as a whole, such as one in another unit, is kept aside: no day of it is used. When the feed
/// answers well again, it is forgotten by itself.
#[derive(Debug, Subcommand)]
pub(super) enum Feed {
    /// List the kinds of feeds: what each gives, how late, what it needs, and which stations here use it
    List(kinds::List),
    /// Ask a station's feed once and show what was understood of its answer; nothing is stored
    Try(once::Try),
    /// Fetch past days of a station, a year at a time with a pause between; begun again, it goes on where it stopped
    Backfill(backfill::Backfill),
    /// List what is kept aside, and what is odd about it
    Aside(aside::Aside),
    /// Store what is kept aside of a station: it is true after all; later answers are judged by it
    Accept(aside::Which),
    /// Throw away what is kept aside of a station; while its feed answers the same, it is not asked again
    Drop(aside::Which),
}

impl Feed {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::List(list) => list.run(),
            Self::Try(once) => once.run().await,
            Self::Backfill(backfill) => backfill.run().await,
            Self::Aside(aside) => aside.run().await,
            Self::Accept(which) => which.accept().await,
            Self::Drop(which) => which.throw_away().await,
        }
    }
}
