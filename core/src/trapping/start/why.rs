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
    /// Eggs on several traps at their first readings: laying had begun before them.
    EggsOnBaseline {
        /// All of them.
        eggs: u32,
        /// Traps that had some.
        traps: usize,
        /// Traps read for the first time.
        of: usize,
    },
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
    /// The estimate dates it.
    Estimated {
        /// The checks running that say that laying began; `None` where the estimate alone says so.
        checks: Option<[NaiveDate; 2]>,
        /// The check on which both were enough.
        on: NaiveDate,
    },
    /// Two checks running met the rule, and the estimate does not agree.
    Doubted {
        /// The two.
        checks: [NaiveDate; 2],
        /// In how many of a hundred laying had begun, by the estimate.
        in_a_hundred: u8,
        /// First day, middle and last day of its range; `None` while laying has likelier not begun.
        days: Option<[NaiveDate; 3]>,
    },
    /// Two checks running met the rule, and there is no heat to date it by.
    NotDated {
        /// The two.
        checks: [NaiveDate; 2],
        /// Up to this day heat since 1 January is known; `None` where it is not known at all.
        known_to: Option<NaiveDate>,
    },
    /// No start was seen before eggs were likelier the second generation's, from this day on.
    FirstBroodOver(NaiveDate),
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
