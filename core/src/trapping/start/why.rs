//! Why a start stands as it does.

use chrono::NaiveDate;

use crate::id::GroupId;
use crate::orchard::Crop;

/// Why a start's status is what it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyStart {
    /// No date in this crop counts from an egg-laying start.
    NotAsked(Crop),
    /// No egg traps hang.
    NoTraps,
    /// So many eggs at the first readings: laying had begun before them.
    EggsOnBaseline(u32),
    /// Fewer egg traps hang than a start needs.
    TooFewTraps,
    /// No check date met the rule yet.
    NoneMet {
        /// Check dates.
        checks: usize,
        /// Of those, such that could be judged.
        judged: usize,
    },
    /// The check of that day met the rule once; the next one took it back.
    TakenBack(NaiveDate),
    /// One check met the rule; the next one decides.
    OneCheck,
    /// One check met the rule, and the next one came too late to decide.
    MissedCheck,
    /// Two checks running met the rule.
    TwoChecks {
        /// The first of them.
        first: NaiveDate,
        /// The second.
        second: NaiveDate,
    },
    /// Somebody set it.
    ByHand {
        /// Who.
        by: String,
        /// The reason as they typed it; empty where they gave none.
        text: String,
        /// What the traps say.
        traps: Box<Self>,
    },
    /// It is taken over from another group, and rests on this there.
    Lent {
        /// The group whose egg traps show it.
        group: GroupId,
        /// Why it stands there as it does.
        why: Box<Self>,
    },
}
