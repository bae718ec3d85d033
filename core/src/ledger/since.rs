//! What has come into the records since a day of telling.

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::trapping::Note;

/// What has come in since a day of telling.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Since {
    /// Station days that were revised or came late, oldest first.
    pub station_days: Vec<NaiveDate>,
    /// Station days with a temperature that was confirmed or corrected by hand, oldest first.
    pub decided_days: Vec<NaiveDate>,
    /// Readings made before that day and entered after it.
    pub readings: Vec<(TrapId, NaiveDate)>,
    /// Field notes.
    pub notes: Vec<Note>,
    /// Readings known then and withdrawn since.
    pub withdrawn_readings: Vec<(TrapId, NaiveDate)>,
    /// Field notes known then and withdrawn since.
    pub withdrawn_notes: Vec<Note>,
}
