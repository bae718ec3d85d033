//! One block, one insect, one year, as seen on one day.

mod beside;
mod by_block;
mod calendar;
mod context;
mod curves;
mod flights;
mod harvest;
mod hindcast;
mod marks;
mod plan;
mod projection;
mod station_heat;
mod tally;
mod years;

pub use beside::StartBeside;
pub use by_block::ByBlock;
pub use calendar::{EggTrapsToHang, OpenTask, Whose, YEAR, YearEntry};
pub use context::{Context, SampleShare};
pub use curves::{BandDay, HeatCurves, HeatDay};
pub use harvest::{Between, Chance, First, Likelihood, Margin, Shake, VarietyHarvest};
pub use hindcast::{ProjectedCrossing, TrueCrossing, projected_crossing, true_crossing};
pub use marks::{Basis, HullSplit, MarkReading, Outcome};
pub use plan::{Density, Purpose, TrapPlan, Wanted, trap_plan};
pub use projection::{FEW_PAST_YEARS, Projection, Shift};
pub use station_heat::StationHeat;
pub use tally::{TallyDay, tally};
pub use years::{Aligned, ByHeat, Comparison, Difference, FEWEST_SEASONS, SeasonCatch};

use chrono::{Datelike, Days, NaiveDate};

use crate::heat::{Accumulated, HeatModel};
use crate::id::InsectId;
use crate::insect::Insect;
use crate::orchard::{Block, Orchard, Trap};
use crate::temperature::Unit;
use crate::trapping::{
    Catch, Disruption, DueState, EggLayingStart, EggRoutine, Flights, Lapse, Notes, ReadingDue,
    ServiceDue, Unknown, Visits, catches, closed_until, disruption, egg_laying_start, first_split,
    lapses, readings_due, service_due, unknown,
};

/// Days of readings that the latest catches are made of.
const LATEST_CATCH_DAYS: u64 = 7;
/// Why nothing counts from the start.
const NO_START: &str = "no egg-laying start yet";

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
    /// The day from which heat counts: the start, or 1 January where marks count from that; `None`
    /// while there is no start, and where there are no marks.
    pub heat_from: Option<NaiveDate>,
    /// Degree-days from that day, which counts, to the newest station day.
    pub degree_days: Result<Accumulated, String>,
    /// The newest station day used.
    pub newest_day: Option<NaiveDate>,
    /// Every mark, once for each reading of it.
    pub marks: Vec<MarkReading>,
    /// Why there is no mark, where the crop has none.
    pub without_marks: Option<String>,
    /// Each variety's harvest beside the egg laying that matters then, once a shake is entered.
    pub harvest: Vec<VarietyHarvest>,
    /// Service clocks of the block's traps.
    pub service: Vec<ServiceDue>,
    /// Parts that served past their life this year.
    pub lapses: Vec<Lapse>,
    /// Next readings of the block's traps.
    pub readings: Vec<ReadingDue>,
    /// Work of the year that the records do not show as done.
    pub open_tasks: Vec<OpenTask>,
    /// Egg traps that should hang by now or soon, while none does.
    pub egg_traps_to_hang: Option<EggTrapsToHang>,
    /// The day before which nobody may enter, as noted from a posting, while it has not come.
    pub closed_until: Option<NaiveDate>,
    /// Catches of the last seven days, by kind of trap.
    pub latest: Vec<Catch>,
    /// Catches of the same days a year before.
    pub year_before: Vec<Catch>,
    /// The flights of the year, or why there are none to read.
    pub flights: Result<Flights, String>,
    /// What was not entered.
    pub unknown: Unknown,
    /// What the traps show of mating disruption; `None` in a conventional block.
    pub disruption: Option<Disruption>,
    /// Catches beside those of earlier years, by kind of trap.
    pub years: Vec<Comparison>,
    /// What decides risk beside catches.
    pub context: Context,
    /// A conventional block's start, where this one may be late.
    pub start_beside: Option<StartBeside>,
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

    /// The day on which a variety was shaken; egg laying after it is none on that variety's trees.
    #[must_use]
    pub fn shaken(&self, variety: &str) -> Option<NaiveDate> {
        let of_variety = self.harvest.iter().find(|of| of.variety == variety)?;
        match of_variety.shake? {
            Shake::Done(day) => Some(day),
            Shake::Expected(_) => None,
        }
    }

    /// Whether a reading is for varieties that have all been shaken.
    #[must_use]
    pub fn is_shaken(&self, reading: &MarkReading) -> bool {
        let mut varieties = reading.varieties.iter();
        varieties.all(|variety| self.shaken(variety).is_some())
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
    notes: &Notes,
) -> BlockSeason {
    let as_of = heat.as_of();
    let own_notes = notes.of(block.id.as_str());
    let start = start(orchard, block, insect, heat, visits, notes);
    let heat_from = heat_from(insect, &start, as_of.year());
    let marks = marks::readings(insect, block, &start, heat, own_notes);
    let traps: Vec<&Trap> = orchard.traps_of(&block.id).collect();
    let in_block = || traps.iter().copied();
    let lapses = lapses(orchard, in_block(), visits, as_of);
    let egg_traps = EggRoutine::of(start.is_awaited(), first_split(own_notes, as_of));
    let week_ago = as_of.checked_sub_days(Days::new(LATEST_CATCH_DAYS - 1));
    let week = [week_ago.unwrap_or(as_of), as_of];
    BlockSeason {
        insect: insect.id.clone(),
        insect_name: insect.name.clone(),
        unit: insect.unit,
        heat_model: insect.heat,
        year: as_of.year(),
        as_of,
        heat_from: heat_from.as_ref().ok().copied(),
        degree_days: heat_from.and_then(|from| heat.since(from)),
        newest_day: heat.newest(),
        harvest: harvest::of_block(insect, block, &start, heat, own_notes, &marks),
        marks,
        without_marks: insect.without_marks.clone(),
        service: service_due(orchard, in_block(), visits, as_of),
        flights: flights::read((orchard, block), insect, heat, (visits, &lapses), own_notes),
        lapses,
        readings: readings_due(in_block(), visits, egg_traps, as_of),
        open_tasks: calendar::open_tasks(orchard, block, own_notes, as_of),
        egg_traps_to_hang: calendar::egg_traps_to_hang(orchard, block, &start, as_of),
        closed_until: closed_until(own_notes, as_of),
        latest: catches(&traps, visits, week[0], week[1]),
        year_before: year_before(week)
            .map_or_else(Vec::new, |[from, to]| catches(&traps, visits, from, to)),
        unknown: unknown(orchard, block, visits, own_notes, as_of),
        disruption: disruption(orchard, block, visits, own_notes, as_of),
        years: years::years(orchard, block, heat, visits),
        context: context::context(own_notes, as_of),
        start_beside: beside::start_beside(orchard, block, &start, insect, heat, visits, notes),
        block: block.clone(),
        start,
    }
}

/// The same days a year before.
fn year_before(days: [NaiveDate; 2]) -> Option<[NaiveDate; 2]> {
    let [from, to] = days.map(|day| years::same_day(day, day.year() - 1));
    Some([from?, to?])
}

/// The egg-laying start, where the insect's marks count from it. A second candidate is only one while
/// its eggs can be those of the overwintered brood.
fn start(
    orchard: &Orchard,
    block: &Block,
    insect: &Insect,
    heat: &StationHeat,
    visits: &Visits,
    notes: &Notes,
) -> EggLayingStart {
    let Some(model) = &insect.start else {
        return EggLayingStart::not_asked(block);
    };
    let mut start = egg_laying_start(orchard, block, model.rule, visits, notes, heat.as_of());
    let candidate = &mut start.evidence.second_candidate;
    *candidate =
        candidate.filter(|later| marks::is_of_first_brood(insect, heat, start.date, later.date));
    start
}

/// The day from which an insect's heat counts in a block, or why there is none.
fn heat_from(insect: &Insect, start: &EggLayingStart, year: i32) -> Result<NaiveDate, String> {
    match (&insect.start, &insect.without_marks) {
        (Some(_), _) => start.date.ok_or_else(|| NO_START.to_owned()),
        (None, Some(why)) => Err(why.clone()),
        (None, None) => new_year(year),
    }
}

/// The first of January.
fn new_year(year: i32) -> Result<NaiveDate, String> {
    NaiveDate::from_ymd_opt(year, 1, 1).ok_or_else(|| format!("{year} is no year of a calendar"))
}

#[cfg(test)]
mod properties;
#[cfg(test)]
pub(crate) mod tests;
