//! What each mail and sheet holds, as plain data: no markup.

mod ahead;
mod alert;
pub mod chart;
mod digest;
mod key_date;
mod letter;
mod news;
mod round_sheet;
mod sheet;
mod shorten;
mod single;
mod summary;
mod trap_side;
mod walking;
#[cfg(test)]
mod without_start;

pub use ahead::Topic;
pub use alert::{Alert, AlertItem, alert};
pub use chart::{CatchChart, Chart, GlanceChart, HeatChart, catch_chart, glance_chart, heat_chart};
pub use digest::{Digest, TableRow, digest};
pub use key_date::{CalendarEntry, DateState, KeyDate, key_dates};
pub use letter::{Letter, letter};
pub use round_sheet::{
    BlockOnRoute, Change as PartChange, RoundSheet, Stop, StopPart, Supply, round_sheets,
};
pub use sheet::Sheet;
pub use single::Single;
pub use summary::{Summary, SummaryPart};
