//! What is told to whom, what was told before, and what follows from both. No words.

mod catch_up;
pub(crate) mod decide;
pub(crate) mod event;
pub(crate) mod facts;
mod mail_kind;
pub mod plan;
pub(crate) mod rank;
mod role;
mod since;
pub(crate) mod value;

pub use catch_up::CatchUp;
pub use decide::{Change, Moment, Notice, Past, Told, decide};
pub use event::{BadEvent, Event, EventKind, FlightPart};
pub use facts::{Fact, State, facts};
pub use mail_kind::MailKind;
pub use role::Role;
pub use since::Since;
pub use value::{BadValue, Value};
