//! What is worth telling, to whom, and what was told before.

mod ahead;
mod alert;
mod catch_up;
pub mod chart;
mod context;
mod decide;
mod digest;
mod disruption;
mod event;
mod evidence;
mod facts;
mod flights;
mod gather;
mod harvest;
mod key_date;
mod letter;
mod news;
mod not_known;
mod plan;
mod revised;
mod round_sheet;
mod sentence;
mod sheet;
mod shorten;
mod stations;
mod summary;
mod trap_side;
mod value;
mod walking;
mod why;
#[cfg(test)]
mod without_start;
mod words;
mod work;
mod years;

pub use ahead::Topic;
pub use alert::{Alert, AlertItem, alert, urgency};
pub use catch_up::CatchUp;
pub use chart::{CatchChart, Chart, HeatChart, catch_chart, heat_chart};
pub use decide::{Change, Moment, Notice, Past, Told, decide};
pub use digest::{Digest, TableRow, digest};
pub use event::{BadEvent, Event, EventKind, FlightPart};
pub use facts::{Fact, State, facts};
pub use gather::{Lines, trap_list};
pub use key_date::{CalendarEntry, KeyDate, Standing, key_dates};
pub use letter::{Letter, letter};
pub use revised::RevisedDay;
pub use round_sheet::{
    BlockOnRoute, Change as PartChange, RoundSheet, Stop, StopPart, Supply, round_sheets,
};
pub use sheet::Sheet;
pub use stations::StationView;
pub use summary::{Folded, Summary, SummaryPart};
pub use value::{BadValue, Value};
pub use why::Since;
pub use words::{DateOrder, Words};
pub use work::plural;

/// The roles people have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Gets the morning digest of all blocks they watch.
    Adviser,
    /// Gets key-date alerts for their own blocks.
    Grower,
    /// Gets what rules name.
    Other,
}

impl Role {
    /// The word used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Adviser => "adviser",
            Self::Grower => "grower",
            Self::Other => "other",
        }
    }
}

/// The caution that every mail carries.
pub const CAUTION: &str = "Information and projection only, from weather station data and entered \
counts; not a pesticide recommendation. Look at the block. Decisions belong to the grower and a \
licensed adviser. The label is the law: pre-harvest and re-entry intervals, rates, bees. Ask your \
county agricultural commissioner about permits and local rules.";
