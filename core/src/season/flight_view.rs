//! Flights of a block, with what the insect and the field notes say of them.

use chrono::{Datelike, Days, NaiveDate};

use crate::insect::Insect;
use crate::orchard::{Block, Orchard};
use crate::temperature::DegreeDays;
use crate::trapping::{
    EggLayingStart, FlightView, Flights, Lapse, NumberedBy, Visits, WhyNoFlights, flights,
};

use super::{HullSplit, StationHeat, new_year};

/// Bait bags faded after about 21 July as new nuts split (CABI Agriculture and Bioscience 2024, 5:30):
/// the day taken where no hull split of the block is known.
const BAGS_FADE: (u32, u32) = (7, 21);

/// Reads a block's flights of the year.
pub(super) fn read(
    (orchard, block): (&Orchard, &Block),
    insect: &Insect,
    start: &EggLayingStart,
    heat: &StationHeat,
    (visits, lapses): (&Visits, &[Lapse]),
    splits: &[(String, HullSplit)],
) -> Result<Flights, WhyNoFlights> {
    let as_of = heat.as_of();
    let (numbered_by, bounds) = numbering(insect, start, as_of);
    let sum = |from: NaiveDate, to: NaiveDate| between(heat, from, to);
    let view = FlightView {
        orchard,
        visits,
        lapses,
        as_of,
        nuts_split: nuts_split(splits, as_of),
        generations: &insect.generations(),
        bounds,
        numbered_by,
        heat: &sum,
    };
    flights(block, &view)
}

/// What the flights' numbers rest on: heat from a firm start, else from 1 January, else their order.
fn numbering<'a>(
    insect: &'a Insect,
    start: &EggLayingStart,
    as_of: NaiveDate,
) -> (NumberedBy, &'a [DegreeDays]) {
    let Some(bounds) = &insect.flights else {
        return (NumberedBy::Order, &[]);
    };
    let firm = start.date.filter(|_| start.status.is_firm());
    match firm.filter(|_| !bounds.from_start.is_empty()) {
        Some(day) => (NumberedBy::Start(day), &bounds.from_start),
        None => (NumberedBy::NewYear(new_year(as_of)), &bounds.from_new_year),
    }
}

/// Degree-days after one day up to another, where all of them are known.
fn between(heat: &StationHeat, from: NaiveDate, to: NaiveDate) -> Option<DegreeDays> {
    let series = heat.heat()?;
    let after = from.checked_add_days(Days::new(1))?;
    let known = series.newest().is_some_and(|newest| to <= newest) && after <= to;
    let sum = known.then(|| series.sum(after, to))?.ok()?;
    Some(sum.degree_days)
}

/// The day from which the block's first variety splits: seen, else expected by hand, else the study's.
fn nuts_split(splits: &[(String, HullSplit)], as_of: NaiveDate) -> NaiveDate {
    let seen = |split: &HullSplit| matches!(split, HullSplit::Seen(_));
    let known = splits.iter().map(|(_, split)| *split);
    let by_hand = known.filter(|split| seen(split) || matches!(split, HullSplit::Expected(_)));
    let days = by_hand.filter_map(|split| Some((!seen(&split), split.days()?.likely)));
    let (month, day) = BAGS_FADE;
    days.min()
        .map(|(_, day)| day)
        .or_else(|| NaiveDate::from_ymd_opt(as_of.year(), month, day))
        .unwrap_or(as_of)
}
