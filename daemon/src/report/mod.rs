//! The season to look back on: a page to print for each grower, and what an extension office may show.

mod error;
mod html;
mod public;
mod season;

pub use error::ReportError;
pub use public::{PublicFiles, public};
pub use season::{Season, growers};

use chrono::NaiveDate;
use duskflight_core::id::PersonId;
use rusqlite::Connection;

use crate::config::Config;

/// The season of one grower's blocks as a page that stands by itself, as of the end of the year or of an earlier day;
/// `None` where no block of theirs was in force then.
///
/// # Errors
/// [`ReportError`].
pub fn season(
    connection: &Connection,
    config: &Config,
    grower: &PersonId,
    year: i32,
    as_of: NaiveDate,
) -> Result<Option<String>, ReportError> {
    Season::read(connection, config, year, as_of)?.of(connection, config, grower)
}
