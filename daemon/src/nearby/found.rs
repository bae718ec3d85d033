//! A station that was found, whichever list has it.

use chrono::{Days, NaiveDate};
use duskflight_core::weather::Location;

/// Stations whose last day lies further back have ended.
const ENDED_AFTER: Days = Days::new(60);
/// A station near the orchard.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// As its service names it.
    pub name: String,
    /// Where it stands.
    pub location: Location,
    /// How far from the orchard, kilometres.
    pub distance_km: f64,
    /// The feeds that have its days, the one that has them soonest first.
    pub serves: Vec<Served>,
    /// Its first day.
    pub first: NaiveDate,
    /// Its newest day; `None` where all that is known is that it goes on.
    pub newest: Option<NaiveDate>,
    /// What came of its last three years, where that was asked for.
    pub lately: Option<Lately>,
}

/// A feed's own name of a station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Served {
    /// An id of ACIS.
    Acis(String),
    /// A number of CIMIS.
    Cimis(u16),
    /// An id of GHCN-Daily, which the NCEI has, by days and as files.
    Ncei(String),
    /// A network of the IEM and an id there.
    Iem(String, String),
}

/// The days of the last three years.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lately {
    /// The share that has both temperatures.
    pub share: f64,
    /// Whether it is mostly read in the morning, where it says when.
    pub morning: bool,
}

impl Found {
    /// Whether its last day lies too far back to be of use, as seen on a day.
    pub(super) fn has_ended(&self, day: NaiveDate) -> bool {
        let oldest = day.checked_sub_days(ENDED_AFTER).unwrap_or(day);
        self.newest.is_some_and(|newest| newest < oldest)
    }
}
