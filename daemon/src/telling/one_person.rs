//! What one person is told on one day.

use duskflight_core::id::PersonId;
use duskflight_core::ledger::Notice;

use super::causes::Causes;
use super::draft::Draft;

/// What one person is told on one day.
#[derive(Debug, Clone)]
pub struct Telling {
    /// The person.
    pub person: PersonId,
    /// What goes into the ledger.
    pub notices: Vec<Notice>,
    /// Why what was told before changed.
    pub causes: Causes,
    /// The mail; `None` where all of it is history that is only recorded.
    pub draft: Option<Draft>,
    /// Whether the mail does not leave before somebody has looked at it.
    pub waits_for_release: bool,
}
