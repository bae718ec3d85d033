//! How important news is: it decides what leads in a mail and which mail leaves first.

use super::decide::{Change, Notice};
use super::event::{Event, EventKind};

/// Notices of this rank never lead.
pub(crate) const NEVER_LEADS: u8 = 9;

/// Lower is more important; [`NEVER_LEADS`] never leads.
pub(crate) fn rank(notice: &Notice) -> u8 {
    match (&notice.change, &notice.event) {
        (Change::History(_), _) | (_, Event::PastServiceLife(..)) => NEVER_LEADS,
        (_, Event::MarginTurned(..)) => 8,
        (Change::Withdrawn { .. }, _) => 0,
        (Change::Corrected { .. } | Change::FoundAgain { .. }, _) => 1,
        (Change::New(_) | Change::Nearer { .. }, event) => match event.kind() {
            EventKind::Start | EventKind::SecondCandidate | EventKind::HullSplit => 2,
            EventKind::SentinelCatch => 3,
            EventKind::MarkPassed => 4,
            EventKind::MarkNear | EventKind::StartNotKnown => 5,
            EventKind::StartProvisional | EventKind::HangEggTraps | EventKind::HangMothTraps => 6,
            EventKind::FlightStart | EventKind::FlightPeak | EventKind::FlightEnd => 7,
            EventKind::MarginTurned | EventKind::PastServiceLife => NEVER_LEADS,
        },
    }
}

/// How urgent the most urgent of some notices is; lower is more.
pub(crate) fn urgency(notices: &[Notice]) -> u8 {
    notices.iter().map(rank).min().unwrap_or(u8::MAX)
}
