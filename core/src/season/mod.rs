//! One block, one insect, one year, as seen on one day.

mod beside;
mod block_work;
mod by_block;
mod curves;
mod exposure;
mod flight_view;
mod hanging;
mod hindcast;
mod hull_split;
mod lagging;
mod laying_years;
mod marks;
mod projection;
mod risk_facts;
mod served;
mod starts;
mod station_heat;
mod tally;
mod traps_wanted;
mod two_stations;
mod why_not;
mod years;

pub use beside::{Beside, StartBeside};
pub use block_work::{BlockWork, OpenTask};
pub use by_block::ByBlock;
pub use curves::{BandDay, HeatCurves, HeatDay};
pub use exposure::{
    Between, Chance, First, LayingBeside, Likelihood, Margin, Shake, VarietyExposure, WhyNoChance,
};
pub use hanging::{Hanging, TrapsToHang};
pub use hindcast::{
    ProjectedCrossing, TrueCrossing, WhyNoCrossing, projected_crossing, true_crossing,
};
pub(crate) use hull_split::not_earlier;
pub use hull_split::{BlockSplit, FirstSplit, HullSplit};
pub use lagging::{HeatOfYear, Lagging, lagging};
pub use laying_years::{LayingOfYear, StartOfYear, YEARS_LOOKED_AT, laying_years, starts_of_years};
pub use marks::{Basis, MarkReading, Outcome};
pub use projection::{FEW_PAST_YEARS, Projection, Shift};
pub use risk_facts::{RiskFacts, SampleShare};
pub use served::served;
pub use starts::{GroupStarts, KeptStarts};
pub use station_heat::StationHeat;
pub use tally::{TallyDay, tally};
pub use traps_wanted::{Density, Purpose, TrapPlan, Wanted, trap_plan};
pub use two_stations::{MarkBeside, SharedHeat, marks_beside, shared_heat};
pub use why_not::WhyNot;
pub use years::{
    Aligned, ByHeat, Comparison, Difference, FEWEST_SEASONS, SeasonCatch, WhyNotByHeat,
};

use chrono::{Datelike, Days, NaiveDate};

use crate::heat::{Accumulated, HeatModel};
use crate::id::{InsectId, MarkId};
use crate::insect::Insect;
use crate::orchard::{Block, Orchard, Trap};
use crate::temperature::Unit;
use crate::trapping::{
    AROUND, Catch, DueState, EggLayingStart, Flight, Flights, LastRead, Note, Notes, ReadingDue,
    Unknown, Visits, WhyNoFlights, catches, checks, disruption, last_read, laying_seen, unknown,
};
use crate::weather::Borrowed;

use marks::MarkReader;

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
    /// The day from which heat counts: the start, or 1 January where marks count from that; `None`
    /// while there is no start, and where there are no marks.
    pub heat_from: Option<NaiveDate>,
    /// Degree-days from that day, which counts, to the newest station day.
    pub degree_days: Result<Accumulated, WhyNot>,
    /// The newest station day used.
    pub newest_day: Option<NaiveDate>,
    /// Whether the station's days are a model's.
    pub modelled: bool,
    /// Whose past years stand before the station's own, where they are to.
    pub borrowed: Option<Borrowed>,
    /// The block's first hull split, from which new-crop generations count.
    pub split: BlockSplit,
    /// First hull split as it was first seen in the block; `None` while it was not.
    pub split_seen: Option<FirstSplit>,
    /// Every mark.
    pub marks: Vec<MarkReading>,
    /// Why there is no mark, where the crop has none.
    pub without_marks: Option<String>,
    /// Each variety's first split and shake beside each generation's egg laying.
    pub exposure: Vec<VarietyExposure>,
    /// What is to be done in the block and at its traps.
    pub work: BlockWork,
    /// Catches of the last seven days, by kind of trap.
    pub latest: Vec<Catch>,
    /// The newest reading of each kind of trap, beside those of a week and a year before.
    pub last_read: Vec<LastRead>,
    /// The flights of the year, or why there are none to read.
    pub flights: Result<Flights, WhyNoFlights>,
    /// What the insect file calls the flights of a year, first to last; empty where it does not.
    pub flight_names: Vec<String>,
    /// What was not entered.
    pub unknown: Unknown,
    /// What it is set beside; no mark rests on it.
    pub beside: Beside,
}

impl BlockSeason {
    /// The day on which a variety was shaken.
    #[must_use]
    pub fn shaken(&self, variety: &str) -> Option<NaiveDate> {
        let of_variety = self.exposure.iter().find(|of| of.variety == variety)?;
        of_variety.shaken()
    }

    /// The day by which every variety was shaken: egg laying after it is none on the block's trees.
    #[must_use]
    pub fn all_shaken(&self) -> Option<NaiveDate> {
        let shaken = self.exposure.iter().map(VarietyExposure::shaken);
        shaken.collect::<Option<Vec<_>>>()?.into_iter().max()
    }

    /// The flight of a number, where the traps showed it.
    #[must_use]
    pub fn flight(&self, number: u8) -> Option<&Flight> {
        let mut flights = self.flights.as_ref().ok()?.flights.iter();
        flights.find(|flight| flight.number == number)
    }

    /// The number of the flight that lays the eggs of a mark's generation. The first flight lays those that
    /// the start is of, so the first generation after it is the second flight's.
    #[must_use]
    pub fn flight_of(&self, mark: &MarkId) -> Option<u8> {
        let laying = self.marks.iter().filter(|reading| reading.begins_laying);
        let place = laying
            .map(|reading| &reading.mark)
            .position(|of| of == mark)?;
        u8::try_from(place + 2).ok()
    }

    /// What the flight of a number is called.
    #[must_use]
    pub fn flight_name(&self, number: u8) -> Option<&str> {
        let place = usize::from(number).checked_sub(1)?;
        self.flight_names.get(place).map(String::as_str)
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
        DueState::while_closed(due, self.as_of, self.work.closed_until)
    }
}

/// The whole trade in one call: the same for tonight and for a replay of an earlier night. `starts` are those
/// of the same insect and day.
#[must_use]
pub fn assess(
    orchard: &Orchard,
    block: &Block,
    insect: &Insect,
    heat: &StationHeat,
    starts: &GroupStarts,
    visits: &Visits,
    notes: &Notes,
) -> BlockSeason {
    let as_of = heat.as_of();
    let own_notes = notes.of(block.id.as_str());
    let start = start(block, insect, heat, starts, notes);
    let heat_from = heat_from(insect, &start, as_of);
    let splits = splits(block, own_notes, as_of);
    let split = BlockSplit::of(&splits);
    let reader = MarkReader {
        insect,
        start: &start,
        split: &split,
        heat,
    };
    let mut marks = reader.all();
    set_eggs_beside(&mut marks, orchard, block, visits, as_of);
    let exposure = exposure::of_block(reader, block, &splits, own_notes, &marks);
    let traps: Vec<&Trap> = orchard.traps_of(&block.id).collect();
    let work = BlockWork::on(as_of, orchard, block, &start, visits, own_notes);
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
        modelled: heat.is_modelled(),
        borrowed: heat.borrowed().cloned(),
        split_seen: FirstSplit::of(&splits, own_notes),
        marks,
        exposure,
        without_marks: insect.without_marks.clone(),
        flights: flight_view::read(
            (orchard, block),
            insect,
            &start,
            heat,
            (visits, &work.lapses),
            &splits,
        ),
        flight_names: insect
            .flights
            .as_ref()
            .map_or_else(Vec::new, |of| of.names.clone()),
        work,
        latest: catches(&traps, visits, week[0], week[1]),
        last_read: last_read(&traps, visits, as_of),
        unknown: unknown(orchard, block, visits, own_notes, as_of),
        beside: Beside {
            start: beside::start_beside(orchard, block, &start, (starts, notes), as_of),
            years: years::years(orchard, block, heat, visits),
            disruption: disruption(orchard, block, visits, own_notes, as_of),
            risk: risk_facts::risk_facts(own_notes, as_of),
            heat_of_year: HeatOfYear::of(&start, heat),
        },
        block: block.clone(),
        split,
        start,
    }
}

/// Sets the eggs that a block's own egg traps showed beside the marks at which egg laying begins.
fn set_eggs_beside(
    marks: &mut [MarkReading],
    orchard: &Orchard,
    block: &Block,
    visits: &Visits,
    as_of: NaiveDate,
) {
    let day = |reading: &MarkReading| reading.outcome.days().map(|[_, middle, _]| middle);
    let near = |day: NaiveDate| day - AROUND <= as_of;
    let near_ones = marks.iter_mut().filter(|reading| {
        reading.begins_laying && !block.borrows_start() && day(reading).is_some_and(near)
    });
    let mut read = None;
    for reading in near_ones {
        let read = read.get_or_insert_with(|| {
            let traps: Vec<&Trap> = orchard.egg_traps(&block.start_group).collect();
            checks(&traps, visits, as_of)
        });
        reading.eggs_seen = day(reading).and_then(|day| laying_seen(read, day));
    }
}

/// What is known of each variety's first hull split.
fn splits(block: &Block, notes: &[Note], as_of: NaiveDate) -> Vec<(String, HullSplit)> {
    let of = |variety: &String| {
        let split = HullSplit::of(block, variety, notes, as_of);
        (variety.clone(), split)
    };
    block.varieties.iter().map(of).collect()
}

/// The egg-laying start, where the insect's marks count from it. A second candidate is only one while
/// its eggs can be those of the overwintered brood.
fn start(
    block: &Block,
    insect: &Insect,
    heat: &StationHeat,
    starts: &GroupStarts,
    notes: &Notes,
) -> EggLayingStart {
    let Some(mut start) = starts.of_block(block, notes, heat.as_of()) else {
        return EggLayingStart::not_asked(block);
    };
    let candidate = &mut start.evidence.second_candidate;
    *candidate =
        candidate.filter(|later| marks::is_of_first_brood(insect, heat, start.date, later.date));
    start
}

/// The day from which an insect's heat counts in a block, or why there is none.
fn heat_from(
    insect: &Insect,
    start: &EggLayingStart,
    as_of: NaiveDate,
) -> Result<NaiveDate, WhyNot> {
    match (&insect.start, &insect.without_marks) {
        (Some(_), _) => start.date.ok_or(WhyNot::NoStart),
        (None, Some(why)) => Err(WhyNot::WithoutMarks(why.clone())),
        (None, None) => Ok(new_year(as_of)),
    }
}

/// The first of January of a day's year.
fn new_year(day: NaiveDate) -> NaiveDate {
    // Every year that has a day has a first one.
    day.with_ordinal(1).unwrap_or(day)
}

#[cfg(test)]
mod properties;
#[cfg(test)]
pub(crate) mod tests;
