//! What came of fetching.

use crate::config::Station;

/// What fetching all stations did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Fetched {
    /// Days received.
    pub days: usize,
    /// Of those, new or different.
    pub changed: usize,
    /// Stations that failed, with the reason.
    pub failed: Vec<(String, String)>,
    /// Of those, how many failed before for the same reason: what lasts is said once.
    pub as_before: usize,
    /// Stations that sent rows which could not be read, with the first of them.
    pub remarks: Vec<(String, String)>,
}

impl Fetched {
    /// Whether nothing came of it but failures that were said before.
    #[must_use]
    pub const fn is_as_before(&self) -> bool {
        self.days == 0 && self.as_before > 0 && self.as_before == self.failed.len()
    }

    /// Adds what came of another part.
    pub(super) fn take(&mut self, part: Self) {
        self.days += part.days;
        self.changed += part.changed;
        self.failed.extend(part.failed);
        self.as_before += part.as_before;
        self.remarks.extend(part.remarks);
    }

    /// Notes why a station failed; `before`: why it did when it was asked last.
    pub(super) fn fail(&mut self, station: &Station, error: String, before: Option<&String>) {
        if before == Some(&error) {
            self.as_before += 1;
            tracing::debug!(station.id = %station.id, error, "fetch failed as before");
        } else {
            tracing::warn!(station.id = %station.id, error, "fetch failed");
        }
        self.failed.push((station.id.to_string(), error));
    }
}
