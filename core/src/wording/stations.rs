//! What the digest says about stations: stale, not used, estimated.

use chrono::NaiveDate;

use crate::id::StationId;
use crate::temperature::Unit;
use crate::weather::{Drift, Element, EstimatedDay, FillMethod, Suspect, Suspicion, is_fresh};

use super::words::Words;
use super::work::plural;

/// What the digest says about one station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationView {
    /// The station.
    pub station: StationId,
    /// Its name.
    pub name: String,
    /// The unit its temperatures are printed in.
    pub unit: Unit,
    /// The newest complete day.
    pub newest: Option<NaiveDate>,
    /// Values received but not used lately, with the reason.
    pub suspects: Vec<Suspect>,
    /// This year's days that were estimated.
    pub estimated: Vec<EstimatedDay>,
    /// Which of its temperatures seem to drift away from its fall-backs.
    pub drifts: Vec<Drift>,
    /// Who made the forecast that projections go through, where there is one.
    pub forecast: Option<&'static str>,
}

/// Stale, suspect and estimated days; of the estimated ones those that some block's heat rests on.
pub(crate) fn station_trouble(
    words: Words,
    station: &StationView,
    heat_from: Option<NaiveDate>,
    day: NaiveDate,
) -> Vec<String> {
    let mut lines = Vec::new();
    match station.newest {
        None => lines.push(format!("{}: no temperatures yet", station.name)),
        Some(newest) if !is_fresh(newest, day) => lines.push(format!(
            "{}: no complete day since {} ({} days); dates that rest on it are estimates",
            station.name,
            words.day(newest),
            (day - newest).num_days()
        )),
        Some(_) => {}
    }
    lines.extend(not_used(words, station));
    lines.extend(
        station
            .drifts
            .iter()
            .map(|drift| format!("{}: {}", station.name, words.drift(drift, station.unit))),
    );
    let counts = |day: &&EstimatedDay| heat_from.is_some_and(|from| day.date >= from);
    let in_use: Vec<&EstimatedDay> = station.estimated.iter().filter(counts).collect();
    if !in_use.is_empty() {
        let days: Vec<NaiveDate> = in_use.iter().map(|day| day.date).collect();
        lines.push(format!(
            "{}: {} estimated, {}: {}",
            station.name,
            plural(in_use.len(), "day"),
            stretches(words, &days),
            methods(&in_use)
        ));
    }
    lines
}

impl Words {
    /// How a sensor seems to drift away from its fall-backs.
    #[must_use]
    pub fn drift(self, drift: &Drift, unit: Unit) -> String {
        format!(
            "against the fall-backs the {} is {:.1} {} {} over the last month than in the year before; the \
             sensor may drift",
            drift.element.words(),
            unit.difference(drift.by_f).abs(),
            unit.symbol(),
            if drift.by_f > 0.0 { "higher" } else { "lower" }
        )
    }
}

/// Values received but not used: a line for each element and reason.
fn not_used(words: Words, station: &StationView) -> Vec<String> {
    let mut kinds: Vec<(Element, Suspicion)> = station
        .suspects
        .iter()
        .map(|s| (s.element, s.why))
        .collect();
    kinds.sort_unstable();
    kinds.dedup();
    let line = |(element, why): (Element, Suspicion)| {
        let alike = station.suspects.iter();
        let alike: Vec<&Suspect> = alike
            .filter(|s| (s.element, s.why) == (element, why))
            .collect();
        let days: Vec<NaiveDate> = alike.iter().map(|suspect| suspect.date).collect();
        let unit = station.unit;
        let value = match alike[..] {
            [one] => format!(" {:.1} {}", one.value.in_unit(unit), unit.symbol()),
            _ => String::new(),
        };
        format!(
            "{}: {}{value} of {} not used: {}",
            station.name,
            element.words(),
            stretches(words, &days),
            why.words()
        )
    };
    kinds.into_iter().map(line).collect()
}

/// How the values of estimated days were found, and how many of them each way.
fn methods(days: &[&EstimatedDay]) -> String {
    let values = || days.iter().flat_map(|day| [day.min, day.max]).flatten();
    let counted = FillMethod::ALL.into_iter().filter_map(|method| {
        let count = values().filter(|value| value.method == method).count();
        (count > 0).then(|| format!("{} {}", plural(count, "value"), method.words()))
    });
    counted.collect::<Vec<_>>().join(", ")
}

/// Days as stretches: `Apr 24–27, Jul 16–18`.
pub(crate) fn stretches(words: Words, days: &[NaiveDate]) -> String {
    let runs = days.chunk_by(|a, b| (*b - *a).num_days() == 1);
    let runs: Vec<String> = runs
        .filter_map(|run| Some(words.stretch(*run.first()?, *run.last()?)))
        .collect();
    runs.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drift_is_told_in_the_unit_of_its_station() {
        let drift = Drift {
            element: Element::Min,
            by_f: -4.5,
        };
        // 4.5 °F are 2.5 K.
        assert_eq!(
            Words::default().drift(&drift, Unit::Celsius),
            "against the fall-backs the minimum is 2.5 °C lower over the last month than in the year before; \
             the sensor may drift"
        );
    }
}
