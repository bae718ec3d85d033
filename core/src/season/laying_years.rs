//! How far off a generation's computed egg laying was in each year, by what egg traps that were read on showed.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};

use crate::insect::{CountsFrom, Insect};
use crate::orchard::{Orchard, Trap};
use crate::trapping::{
    EggLayingStart, LayingSeen, Note, NoteKind, Notes, StartView, Visits, checks, laying_seen,
    start_of_group,
};

use super::{BlockSeason, KeptStarts, StationHeat};

/// So many years are looked at, the newest: each costs a start of its own.
pub const YEARS_LOOKED_AT: i32 = 10;

/// One year's computed egg laying of the generation that counts from the start, beside what was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LayingOfYear {
    /// The year.
    pub year: i32,
    /// When the mark was reached.
    pub computed: NaiveDate,
    /// The rise that the block's own egg traps showed around it.
    pub seen: LayingSeen,
}

impl LayingOfYear {
    /// Days from the computed date to the first check with eggs again.
    #[must_use]
    pub fn days_after(&self) -> i64 {
        (self.seen.from - self.computed).num_days()
    }
}

/// One year's egg-laying start of a block, with what is recorded now.
#[derive(Debug, Clone, PartialEq)]
pub struct StartOfYear {
    /// The year.
    pub year: i32,
    /// Its start.
    pub start: EggLayingStart,
    /// The generation that counts from it, computed and seen; `None` where one of both is not known.
    pub laying: Option<LayingOfYear>,
}

/// The years up to that of the day of telling in which a block's own egg traps showed the generation that
/// counts from the start, the newest first, with what is recorded now. `kept`: what was kept of starts, by year.
#[must_use]
pub fn laying_years(
    orchard: &Orchard,
    season: &BlockSeason,
    insect: &Insect,
    heat: &StationHeat,
    records: (&Visits, &Notes),
    kept: &BTreeMap<i32, KeptStarts>,
) -> Vec<LayingOfYear> {
    let years = starts_of_years(orchard, season, insect, heat, records, kept);
    years.into_iter().filter_map(|of| of.laying).collect()
}

/// The starts of a block's own egg traps, or set by hand, of the years up to that of the day of telling, the newest
/// first; none of a block that borrows its start. The same years and records as of [`laying_years`].
#[must_use]
pub fn starts_of_years(
    orchard: &Orchard,
    season: &BlockSeason,
    insect: &Insect,
    heat: &StationHeat,
    (visits, notes): (&Visits, &Notes),
    kept: &BTreeMap<i32, KeptStarts>,
) -> Vec<StartOfYear> {
    let block = &season.block;
    if block.borrows_start() {
        return Vec::new();
    }
    let traps: Vec<&Trap> = orchard.egg_traps(&block.start_group).collect();
    let this_year = heat.as_of().year();
    let first = first_year(&traps, notes.of(block.id.as_str()));
    let first = first
        .unwrap_or(this_year)
        .max(this_year - YEARS_LOOKED_AT + 1);
    let years = (first..=this_year).rev();
    let start_on = |as_of: NaiveDate| {
        let view = StartView {
            model: insect.start.as_ref()?,
            visits,
            notes,
            as_of,
        };
        let kept = kept.get(&as_of.year());
        let of_group = (heat.heat(), kept.and_then(|of| of.get(&block.start_group)));
        let start = start_of_group(orchard, block, &block.start_group, of_group, view);
        Some(start.start)
    };
    let of_year = |year: i32| {
        let as_of = NaiveDate::from_ymd_opt(year, 12, 31)?.min(heat.as_of());
        let start = match year == this_year {
            true => season.start.clone(),
            false => start_on(as_of)?,
        };
        let laying = || {
            let firm = start.date.filter(|_| start.status.is_firm())?;
            let computed = reached(insect, heat, firm)?;
            let seen = laying_seen(&checks(&traps, visits, as_of), computed)?;
            Some(LayingOfYear {
                year,
                computed,
                seen,
            })
        };
        let laying = laying();
        Some(StartOfYear {
            year,
            start,
            laying,
        })
    };
    years.filter_map(of_year).collect()
}

/// The year of the first egg trap or of the first start set by hand.
fn first_year(traps: &[&Trap], notes: &[Note]) -> Option<i32> {
    let by_hand = notes.iter().filter_map(|note| match note.kind {
        NoteKind::EggLayingStart(start) => Some(start.day.year()),
        _ => None,
    });
    let hung = traps.iter().map(|trap| trap.hung.year());
    hung.chain(by_hand).min()
}

/// The day on which the generation that counts from a start is reached, where it was by now.
fn reached(insect: &Insect, heat: &StationHeat, start: NaiveDate) -> Option<NaiveDate> {
    let mut marks = insect.marks.iter().enumerate();
    let (_, mark) = marks.find(|(place, mark)| {
        mark.from == CountsFrom::EggLayingStart && insect.is_generation(*place)
    })?;
    let series = heat.heat()?;
    let first = series.position(start)?;
    let known = first < series.len();
    let target = known.then(|| series.level(first))? + mark.at.fahrenheit_days();
    let instant = series.crossing(first, target)?;
    let last = instant.ceil() as usize;
    let whole = series.first_hole(first, last).is_none();
    whole.then(|| series.date(last.saturating_sub(1)))
}
