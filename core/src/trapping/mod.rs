//! What the traps tell: visits, catches per trap and night, service due, the egg-laying start, flights,
//! disruption.

mod catch;
mod caught;
mod check;
mod disruption;
mod due;
mod flight;
mod haul;
mod last_read;
mod laying_seen;
mod liner;
mod note;
mod plausible;
mod posting;
mod round;
mod routine;
mod service;
mod service_record;
mod span;
mod split;
mod start;
mod unknown;
mod visit;

pub use catch::{Catch, Counted, catches};
pub use caught::{Caught, caught};
pub use check::{Check, Reading, checks};
pub use disruption::{Disruption, Doubt, Reference, SentinelCatch, Window, disruption};
pub use due::DueState;
pub use flight::{
    FarBelow, Flight, FlightDay, FlightView, Flights, NumberedBy, Peak, SoFar, WhyNoDay,
    WhyNoFlights, flights,
};
pub use haul::Haul;
pub(crate) use haul::{Interval, attractants, haul, intervals};
pub use last_read::{LastRead, last_read};
pub(crate) use laying_seen::AROUND;
pub use laying_seen::{LayingSeen, laying_seen};
pub use liner::{OnLiner, full_liner, on_liner};
pub use note::{
    Expected, HarvestSample, Mummies, Note, NoteKind, Notes, NutSample, Scale, SplitCheck, Stage,
    StartByHand,
};
pub use plausible::{Implausible, Seasonal, implausible_count, implausible_days};
pub use posting::closed_until;
pub use round::{Round, rounds};
pub use routine::{EggRoutine, ReadingDue, readings_due};
pub use service::{Lapse, ServiceDue, lapses, service_due, without_clock};
pub use service_record::{
    IN_TIME_DAYS, LateChange, LateRound, MissedRound, PartRecord, ReadingRecord, Served,
    ServiceRecord, days_of_season,
};
pub use split::{first_split, not_split_on, split_seen, splits_that_disagree};
pub use start::{
    CheckEvidence, EggLayingStart, Estimate, GroupStart, KeptStart, RuleResult, SecondCandidate,
    StartEvidence, StartStatus, StartView, Weight, WhyStart, start_of_group,
};
pub use unknown::{Missing, Unknown, Unread, unknown};
pub use visit::{Visit, Visits};
