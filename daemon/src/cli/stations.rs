//! `duskflight stations`: finding a station for an orchard, and setting two beside each other.

mod compare;
mod near;

use clap::Subcommand;

use super::Failure;

/// Find a station for an orchard, and compare two
#[derive(Debug, Subcommand)]
pub(super) enum Stations {
    /// Ask which stations stand around an orchard, and print what is known of each with the lines to paste into the
    /// configuration
    ///
    /// What is printed is TOML. It needs no configuration; with one, services hear whom to ask about the requests.
    Near(near::Near),
    /// Set two stations, or a station and a logger's file, side by side: minima and maxima by month, degree-days, and
    /// the days between them at each mark of an insect
    Compare(compare::Compare),
}

impl Stations {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::Near(near) => near.run().await,
            Self::Compare(compare) => compare.run().await,
        }
    }
}
