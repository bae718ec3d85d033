//! What is told to whom, what was told before, and what follows from both. No words.

mod by_variety;
mod catch_up;
pub(crate) mod decide;
mod entered;
pub(crate) mod event;
pub(crate) mod facts;
mod mail_kind;
pub mod plan;
mod queue;
mod queued_mail;
pub(crate) mod rank;
mod role;
mod since;
pub(crate) mod value;

pub use catch_up::CatchUp;
pub use decide::{Change, Moment, Notice, Past, TakenBack, Told, decide, taken_back};
pub use entered::{Entered, MissingRecords};
pub use event::{BadEvent, Event, EventKind, FlightPart};
pub use facts::{Fact, Hears, State, WhyGone, facts};
pub use mail_kind::{BadMailKind, MailKind};
pub use queue::{Leaves, Obstacle, Queue, leaves};
pub use queued_mail::{AwaitedDigest, BadMailState, InHand, MailIdentity, MailState, QueuedMail};
pub use role::{Role, Roles};
pub use since::Since;
pub use value::{BadValue, Value};
