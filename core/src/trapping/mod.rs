//! What the traps tell: visits, catches per trap and night, service due, the egg-laying start, flights.

mod catch;
mod check;
mod flight;
mod liner;
mod note;
mod round;
mod service;
mod start;
mod visit;

pub use catch::{Catch, Counted, catches};
pub use check::{Check, Reading, checks};
pub use flight::{Flight, FlightDay, FlightView, Flights, flights};
pub use liner::{OnLiner, on_liner};
pub use note::{Expected, HarvestSample, Mummies, Note, NoteKind, Scale, SplitCheck, Stage};
pub use round::{Round, rounds};
pub use service::{DueState, Lapse, ReadingDue, ServiceDue, lapses, readings_due, service_due};
pub use start::{
    CheckEvidence, EggLayingStart, RuleResult, SecondCandidate, StartEvidence, StartStatus,
    egg_laying_start,
};
pub use visit::{Visit, Visits};
