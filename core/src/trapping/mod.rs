//! What the traps tell: visits, catches per trap and night, service due, the egg-laying start.

mod catch;
mod check;
mod due;
mod note;
mod posting;
mod routine;
mod service;
mod start;
mod unknown;
mod visit;

pub use catch::{Catch, Counted, catches};
pub use check::{Check, Reading, checks};
pub use due::DueState;
pub use note::{Expected, HarvestSample, Mummies, Note, NoteKind, Scale, SplitCheck, Stage};
pub use posting::closed_until;
pub use routine::{EggRoutine, ReadingDue, first_split, readings_due};
pub use service::{Lapse, ServiceDue, lapses, service_due, without_clock};
pub use start::{
    CheckEvidence, EggLayingStart, RuleResult, SecondCandidate, StartEvidence, StartStatus,
    egg_laying_start,
};
pub use unknown::{Missing, Unknown, Unread, unknown};
pub use visit::{Visit, Visits};
