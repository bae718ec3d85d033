//! What the traps tell: visits, catches per trap and night, service due, the egg-laying start, disruption.

mod catch;
mod check;
mod disruption;
mod haul;
mod note;
mod service;
mod start;
mod visit;

pub use catch::{Catch, Counted, catches};
pub use check::{Check, Reading, checks};
pub use disruption::{Disruption, Doubt, Reference, SentinelCatch, Window, disruption};
pub use haul::Haul;
pub(crate) use haul::{Interval, attractants, haul, intervals};
pub use note::{Expected, HarvestSample, Mummies, Note, NoteKind, Notes, Scale, SplitCheck, Stage};
pub use service::{DueState, Lapse, ReadingDue, ServiceDue, lapses, readings_due, service_due};
pub use start::{
    CheckEvidence, EggLayingStart, RuleResult, SecondCandidate, StartEvidence, StartStatus,
    egg_laying_start,
};
pub use visit::{Visit, Visits};
