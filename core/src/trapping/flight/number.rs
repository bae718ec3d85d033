//! Which flight of the year each rise is.

use chrono::NaiveDate;

use crate::insect::flight_at;

use super::FlightView;

/// What the numbers of a block's flights rest on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NumberedBy {
    /// Degree-days from the egg-laying start, on that day.
    Start(NaiveDate),
    /// Degree-days from 1 January, since there is no start to count from.
    NewYear(NaiveDate),
    /// Only the order in which they were seen, since the insect file says nothing else.
    Order,
}

/// The numbers of flights from the days of their rises, oldest first. Each comes after the one before it, so
/// where temperatures are missing it is the next. Where catches were up `from_first` the first flight rose
/// on an unknown day before that: it may be the one before.
pub(super) fn numbers(rises: &[NaiveDate], from_first: bool, view: &FlightView<'_>) -> Vec<u8> {
    let by_heat: Vec<Option<u8>> = rises.iter().map(|&rise| by_heat(rise, view)).collect();
    let mut numbers: Vec<u8> = Vec::new();
    for of_heat in &by_heat {
        let next = numbers.last().map_or(1, |before| before + 1);
        numbers.push(of_heat.unwrap_or(next).max(next));
        if let ([first, second], true) = (&mut numbers[..], from_first)
            && of_heat.is_some_and(|of_heat| of_heat > 1 && of_heat <= *first)
        {
            (*first, *second) = (*first - 1, *second - 1);
        }
    }
    numbers
}

fn by_heat(rise: NaiveDate, view: &FlightView<'_>) -> Option<u8> {
    let from = match view.numbered_by {
        NumberedBy::Start(from) | NumberedBy::NewYear(from) => from,
        NumberedBy::Order => return None,
    };
    if rise < from {
        return Some(1);
    }
    let heat = (view.heat)(from.pred_opt()?, rise)?;
    Some(flight_at(view.bounds, heat))
}
