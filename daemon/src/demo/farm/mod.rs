//! The invented farm: its blocks, traps and people, and one season of what they wrote down.
//!
//! Everything follows from the station's record and the year, so the same year gives the same
//! farm to the letter. The moths live by the warmth of that record with delays of their own: no
//! catch is placed on a degree-day mark, so that the demo shows projections being right and wrong.
//! People, places and products are invented.

mod crop;
mod days;
mod feed_script;
mod nature;
mod notes;
mod paperwork;
mod places;
mod record;
mod round_days;
mod rounds;
mod supplies;
#[cfg(test)]
mod tests;
mod traps;
mod visits;

use duskflight_core::weather::ReceivedDay;

pub use days::MonthDay;
pub use feed_script::{
    CORRECTED_ON, GAP, GAP_FILLED_ON, LATENCY_DAYS, LOST_GAP, WRONG_BY_C, WRONG_RUN, as_known_on,
};
pub use paperwork::{Entry, Kind};
pub use places::{Person, SCOUT, answering};
pub use record::station_record;
pub use supplies::Product;

use crop::Crop;
use nature::{Population, Warmth, dice};
use places::EARLIER_SEASONS;
use rounds::Calendar;

/// The season played unless another is asked for.
pub const DEFAULT_YEAR: i32 = 2022;

/// A farm and the paper it produced in one season.
#[derive(Debug, Clone, PartialEq)]
pub struct InventedFarm {
    /// `id,from,name,grower,adviser,crop,acres,regime,dispensers_on,dispensers_until,station,
    /// varieties,start_group,start_rule`; varieties are separated by `; `, the early one first.
    pub blocks_csv: String,
    /// `id,block,kind,hung,removed,group,place,lure,ppo,bait,liner`.
    pub traps_csv: String,
    /// The adviser and the growers.
    pub people: Vec<Person>,
    /// Everything in the traps that wears out.
    pub products: Vec<Product>,
    /// The sheets, in the order in which they were entered.
    pub entries: Vec<Entry>,
}

/// Invents the farm and its season of `year`, from the station's record of that year. A year the
/// record does not cover has no warmth, hence no moths.
#[must_use]
pub fn invent(record: &[ReceivedDay], year: i32) -> InventedFarm {
    let crops = Crop::draw_all(year);
    let (mut all_traps, readings) = season(record, &crops, year);
    let field_notes = notes::write_all(&readings, &crops, year);
    let mut entries = Vec::new();
    for earlier in year - EARLIER_SEASONS..year {
        let (old_traps, old_readings) = earlier_season(record, earlier);
        all_traps.extend(old_traps);
        entries.push(paperwork::history(&old_readings, year, earlier));
    }
    let mut rng = dice(year, nature::PAPERWORK);
    entries.extend(paperwork::entries(&readings, &field_notes, &mut rng));
    entries.sort_by_key(|entry| (entry.entered_on, entry.kind));
    InventedFarm {
        blocks_csv: places::blocks_csv(year),
        traps_csv: traps::csv(&all_traps),
        people: places::PEOPLE.to_vec(),
        products: supplies::PRODUCTS.to_vec(),
        entries,
    }
}

/// The traps of a season and what was read at them.
fn season(
    record: &[ReceivedDay],
    crops: &[Crop],
    year: i32,
) -> (Vec<traps::Trap>, Vec<visits::Visit>) {
    let warmth = Warmth::of(record, year);
    let populations = Population::draw_all(&warmth, year);
    let mut all_traps = Vec::new();
    for (crop, population) in crops.iter().zip(&populations) {
        let calendar = Calendar::of(crop.block, population, &warmth, year);
        all_traps.extend(traps::hang(crop, &calendar, population, &warmth));
    }
    let readings = visits::read_all(&all_traps, &populations, &warmth, year);
    (all_traps, readings)
}

/// The moth traps of a season before, under ids of their own.
fn earlier_season(record: &[ReceivedDay], year: i32) -> (Vec<traps::Trap>, Vec<visits::Visit>) {
    let (mut traps, mut readings) = season(record, &Crop::draw_all(year), year);
    traps.retain(|trap| trap.kind != traps::TrapKind::Egg);
    readings.retain(|visit| !matches!(visit.catch, visits::Catch::Eggs(_)) && !visit.of_egg_trap());
    let that_years = |id: &mut String| id.push_str(&format!(".{}", year % 100));
    traps.iter_mut().for_each(|trap| that_years(&mut trap.id));
    readings
        .iter_mut()
        .for_each(|visit| that_years(&mut visit.trap));
    (traps, readings)
}
