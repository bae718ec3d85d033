//! How often people are told, and what is told at that time of year.

use crate::ledger::{Change, Role, Roles};

/// How often people are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// Every morning, in season.
    Daily,
    /// Once a week, off the season: advisers, and others only what takes back what they were told.
    Weekly,
}

impl Pace {
    /// Whether somebody who gets alerts is told a change: off the season nothing but what takes back what
    /// they were told, for wrong dates must not stand.
    #[must_use]
    pub const fn alerts(self, change: &Change) -> bool {
        let news = matches!(change, Change::New(_) | Change::Nearer { .. });
        matches!(self, Self::Daily) || !news
    }

    /// Whether people of a role are told anew what stood in a mail that is stuck, so that it may be folded.
    /// Off the season that is the advisers: others would not hear the same again.
    #[must_use]
    pub fn tells_anew(self, roles: &Roles) -> bool {
        matches!(self, Self::Daily) || roles.has(Role::Adviser)
    }
}
