//! What each mail and sheet holds, as plain data: no markup.

mod alert;
mod block_rows;
pub mod chart;
mod digest;
mod headline;
mod key_date;
mod letter;
mod news;
mod records_missing;
mod round_mail;
mod round_sheet;
mod sheet;
mod shorten;
mod single;
mod summary;
mod walking;
mod whole_calendar;
#[cfg(test)]
mod without_start;
mod work_by_route;

pub use alert::{Alert, AlertItem, AlertLine, alert};
pub use block_rows::{BlockRow, BlockRows};
pub use chart::{CatchChart, Chart, GlanceChart, HeatChart, catch_chart, glance_chart, heat_chart};
pub use digest::{Digest, digest};
pub use headline::LONGEST_SUBJECT;
pub use key_date::{CalendarEntry, DateState, KeyDate, key_dates};
pub use letter::{Letter, LetterBlock, letter};
pub use news::NewsItem;
pub use records_missing::{RecordsMissing, records_missing};
pub use round_mail::{RoundMail, round_mail};
pub use round_sheet::{
    BlockOnRoute, Change as PartChange, RoundSheet, Stop, StopPart, Supply, round_sheets,
};
pub use sheet::Sheet;
pub use single::{MadeOf, Single};
pub use summary::{Summary, SummaryPart};
pub use whole_calendar::{StandingDate, whole_calendar};
pub use work_by_route::RouteWork;
