//! What each mail and sheet holds, as plain data: no markup.

mod alert;
mod block_page;
mod block_rows;
pub mod chart;
mod digest;
mod farm_row;
mod headline;
mod key_date;
mod letter;
mod news;
mod public_report;
mod receipt;
mod records_missing;
mod round_mail;
mod round_sheet;
mod season_report;
mod sheet;
mod shorten;
mod single;
mod summary;
mod walking;
mod weeks;
mod whole_calendar;
#[cfg(test)]
mod without_start;
mod work_by_route;

pub use alert::{Alert, AlertItem, AlertLine, alert};
pub use block_page::{Answered, BlockPage, CheckRow, TrapRow, block_page};
pub use block_rows::{BlockRow, BlockRows};
pub use chart::{CatchChart, Chart, GlanceChart, HeatChart, catch_chart, glance_chart, heat_chart};
pub use digest::{Digest, digest};
pub use farm_row::{FarmRow, LookAt, undecided_blocks};
pub use headline::LONGEST_SUBJECT;
pub use key_date::{CalendarEntry, DateState, KeyDate, key_dates};
pub use letter::{Letter, LetterBlock, letter};
pub use news::{NewsItem, foretold};
pub use public_report::{
    PublicCatch, PublicReport, PublicSite, PublicStart, SiteOfFarm, public_report,
};
pub use receipt::{AnswerReceipt, Receipt, ReceiptLine, ReceiptRow, Stood, found, usual};
pub use records_missing::{RecordsMissing, records_missing};
pub use round_mail::{RoundMail, RoundStop, round_mail};
pub use round_sheet::{
    BlockOnRoute, Change as PartChange, RoundSheet, Stop, StopPart, Supply, round_sheets,
};
pub use season_report::{
    BlockOfSeason, BlockReport, CatchTable, CatchYears, MailsSent, MarkRow, OverviewRow, SampleRow,
    Samples, SeasonReport, SeasonSource, ServiceRow, ServiceTable, Signature, StartRow,
    season_report,
};
pub use sheet::Sheet;
pub use single::{MadeOf, Single};
pub use summary::{Summary, SummaryPart};
pub use weeks::{Week, WeekCatch, WeekTable, week_table};
pub use whole_calendar::{StandingDate, whole_calendar};
pub use work_by_route::RouteWork;
