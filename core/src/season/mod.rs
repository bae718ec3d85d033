//! One block, one insect, one year, as seen on one day.

mod calendar;
mod hindcast;
mod marks;
mod plan;
mod projection;
mod station_heat;
mod tally;

pub use calendar::{OpenTask, Whose, YEAR, YearEntry};
pub use hindcast::{ProjectedCrossing, TrueCrossing, projected_crossing, true_crossing};
pub use marks::{Basis, HullSplit, MarkReading, Outcome};
pub use plan::{Density, Purpose, TrapPlan, Wanted, trap_plan};
pub use projection::{FEW_PAST_YEARS, Projection, Shift};
pub use station_heat::StationHeat;
pub use tally::{TallyDay, tally};

use chrono::{Datelike, Days, NaiveDate};

use crate::heat::{Accumulated, HeatModel};
use crate::id::InsectId;
use crate::insect::Insect;
use crate::orchard::{Block, Orchard};
use crate::temperature::Unit;
use crate::trapping::{
    Catch, DueState, EggLayingStart, EggRoutine, Lapse, Note, ReadingDue, ServiceDue, StartStatus,
    Unknown, Visits, catches, closed_until, egg_laying_start, first_split, lapses, readings_due,
    service_due, unknown,
};

/// Days of readings that the latest catches are made of.
const LATEST_CATCH_DAYS: u64 = 7;

/// Everything told about one block's season on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockSeason {
    /// The block as in force that day.
    pub block: Block,
    /// The insect.
    pub insect: InsectId,
    /// Its name in mails.
    pub insect_name: String,
    /// The unit its degree-days are printed in.
    pub unit: Unit,
    /// Thresholds, method and cutoff behind every degree-day here.
    pub heat_model: HeatModel,
    /// The year.
    pub year: i32,
    /// The civil day of telling: station days before it, visits and notes up to it.
    pub as_of: NaiveDate,
    /// The egg-laying start.
    pub start: EggLayingStart,
    /// Degree-days from the start, which counts, to the newest station day.
    pub degree_days: Result<Accumulated, String>,
    /// The newest station day used.
    pub newest_day: Option<NaiveDate>,
    /// Every mark, once for each reading of it.
    pub marks: Vec<MarkReading>,
    /// Service clocks of the block's traps.
    pub service: Vec<ServiceDue>,
    /// Parts that served past their life this year.
    pub lapses: Vec<Lapse>,
    /// Next readings of the block's traps.
    pub readings: Vec<ReadingDue>,
    /// Work of the year that the records do not show as done.
    pub open_tasks: Vec<OpenTask>,
    /// The day before which nobody may enter, as noted from a posting, while it has not come.
    pub closed_until: Option<NaiveDate>,
    /// Catches of the last seven days, by kind of trap.
    pub latest: Vec<Catch>,
    /// What was not entered.
    pub unknown: Unknown,
}

impl BlockSeason {
    /// Whether a reading counts without hull split for varieties whose own is not entered, while
    /// that of another variety is known: theirs is still to come.
    #[must_use]
    pub fn lags(&self, reading: &MarkReading) -> bool {
        let mut of_mark = self.marks.iter().filter(|other| other.mark == reading.mark);
        reading.hull_split == HullSplit::NotEntered
            && of_mark.any(|other| other.hull_split.date().is_some())
    }

    /// How the next reading of a trap stands.
    #[must_use]
    pub fn reading_state(&self, reading: &ReadingDue) -> DueState {
        match self.due_state(reading.due) {
            DueState::Overdue | DueState::Today | DueState::Soon if reading.optional => {
                DueState::Optional
            }
            state => state,
        }
    }

    /// How something due in the block stands: in a closed one it waits.
    #[must_use]
    pub fn due_state(&self, due: NaiveDate) -> DueState {
        DueState::while_closed(due, self.as_of, self.closed_until)
    }
}

/// The whole trade in one call: the same for tonight and for a replay of an earlier night.
#[must_use]
pub fn assess(
    orchard: &Orchard,
    block: &Block,
    insect: &Insect,
    heat: &StationHeat,
    visits: &Visits,
    notes: &[Note],
) -> BlockSeason {
    let as_of = heat.as_of();
    let mut start = egg_laying_start(orchard, block, insect.start_rule, visits, notes, as_of);
    let candidate = &mut start.evidence.second_candidate;
    *candidate =
        candidate.filter(|later| marks::is_of_first_brood(insect, heat, start.date, later.date));
    let awaited = matches!(start.status, StartStatus::None | StartStatus::Provisional);
    let egg_traps = EggRoutine::of(awaited, first_split(notes, &block.id, as_of));
    let traps: Vec<_> = orchard.traps_of(&block.id).collect();
    let week_ago = as_of.checked_sub_days(Days::new(LATEST_CATCH_DAYS - 1));
    BlockSeason {
        insect: insect.id.clone(),
        insect_name: insect.name.clone(),
        unit: insect.unit,
        heat_model: insect.heat,
        year: as_of.year(),
        as_of,
        degree_days: heat.since(start.date),
        newest_day: heat.newest(),
        marks: marks::readings(insect, block, &start, heat, notes),
        service: service_due(orchard, traps.iter().copied(), visits, as_of),
        lapses: lapses(orchard, traps.iter().copied(), visits, as_of),
        readings: readings_due(traps.iter().copied(), visits, egg_traps, as_of),
        open_tasks: calendar::open_tasks(orchard, block, notes, as_of),
        closed_until: closed_until(notes, &block.id, as_of),
        latest: catches(&traps, visits, week_ago.unwrap_or(as_of), as_of),
        unknown: unknown(orchard, block, visits, notes, as_of),
        block: block.clone(),
        start,
    }
}

#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;
