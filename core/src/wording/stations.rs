//! What the digest says about stations: stale, not used, estimated.

use chrono::{Datelike, NaiveDate};

use crate::id::StationId;
use crate::temperature::Unit;
use crate::weather::{
    Borrowed, Drift, Element, EstimatedDay, FillMethod, Suspect, Suspicion, is_fresh,
};

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
    /// Its fall-backs that had some of these days.
    pub stood_in: Vec<StoodIn>,
    /// Which of its temperatures seem to drift away from its fall-backs.
    pub drifts: Vec<Drift>,
    /// Whose past years stand before its own, where they are to.
    pub borrowed: Option<Borrowed>,
    /// Who made the forecast that projections go through, where there is one.
    pub forecast: Option<&'static str>,
}

/// A fall-back that stood in for a station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoodIn {
    /// Its name.
    pub name: String,
    /// The days that it had, of those that were estimated.
    pub days: Vec<NaiveDate>,
}

/// A station's name or id, with a word where its values are a model's: those are never taken for measured.
#[must_use]
pub fn station_words(name: &str, modelled: bool) -> String {
    match modelled {
        true => format!("{name} (model values)"),
        false => name.to_owned(),
    }
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
            methods(&in_use) + &who_stood_in(words, &station.stood_in, &days)
        ));
    }
    lines
}

impl Words {
    /// All that is to be known of a station on a day beside its newest one: what is stale, not used or estimated this
    /// year, whose past years it goes on with, and who made its forecast.
    #[must_use]
    pub fn station_lines(self, station: &StationView, day: NaiveDate) -> Vec<String> {
        let mut lines = station_trouble(self, station, day.with_ordinal(1), day);
        let borrowed = station.borrowed.as_ref();
        lines.extend(borrowed.map(|borrowed| self.borrowed(borrowed, station.unit)));
        lines.extend(
            station
                .forecast
                .map(|source| format!("forecast by {source}")),
        );
        // Its name stands beside them.
        let named = format!("{}: ", station.name);
        let bare = lines.into_iter();
        bare.map(|line| {
            line.strip_prefix(&named)
                .map_or_else(|| line.clone(), str::to_owned)
        })
        .collect()
    }

    /// Whose past years stand before a station's own.
    #[must_use]
    pub fn borrowed(self, borrowed: &Borrowed, unit: Unit) -> String {
        match borrowed {
            Borrowed::Moved { of, until, by_f } => {
                let by = by_f.map(|by| format!("{:+.1}", unit.difference(by)));
                format!(
                    "past years before {} {} are those of {of}, moved by {} (minima) and {} {} (maxima)",
                    self.day(*until),
                    until.year(),
                    by[0],
                    by[1],
                    unit.symbol()
                )
            }
            Borrowed::TooFew { of, days, needed } => format!(
                "past years of {of} are not used yet: {} in both records, and {needed} are needed",
                match days {
                    1 => "1 day is".to_owned(),
                    days => format!("{days} days are"),
                }
            ),
        }
    }

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

/// Which fall-backs had the days that were estimated, with the days where one had only some; nothing where none had any.
fn who_stood_in(words: Words, stood_in: &[StoodIn], days: &[NaiveDate]) -> String {
    let had = |one: &StoodIn| -> Vec<NaiveDate> {
        days.iter()
            .copied()
            .filter(|day| one.days.contains(day))
            .collect()
    };
    let name = |one: &StoodIn| {
        let had = had(one);
        match had.len() {
            0 => None,
            all if all == days.len() => Some(one.name.clone()),
            _ => Some(format!("{} {}", one.name, stretches(words, &had))),
        }
    };
    let names: Vec<String> = stood_in.iter().filter_map(name).collect();
    match names.is_empty() {
        true => String::new(),
        false => format!(" ({})", names.join("; ")),
    }
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
    fn borrowed_years_are_named_with_whose_they_are_and_how_they_were_moved() {
        let borrowed = Borrowed::Moved {
            of: "Merced airport".to_owned(),
            until: NaiveDate::from_ymd_opt(2021, 6, 10).unwrap(),
            by_f: [0.8, -1.2],
        };
        assert_eq!(
            Words::default().borrowed(&borrowed, Unit::Fahrenheit),
            "past years before Jun 10 2021 are those of Merced airport, moved by +0.8 (minima) and -1.2 °F (maxima)"
        );
        let too_few = Borrowed::TooFew {
            of: "Merced airport".to_owned(),
            days: 1,
            needed: 90,
        };
        assert_eq!(
            Words::default().borrowed(&too_few, Unit::Celsius),
            "past years of Merced airport are not used yet: 1 day is in both records, and 90 are needed"
        );
    }

    #[test]
    fn who_stood_in_is_named_with_the_days_where_it_had_only_some() {
        let day = |day| NaiveDate::from_ymd_opt(2022, 4, day).unwrap();
        let one = |name: &str, days: &[u32]| StoodIn {
            name: name.to_owned(),
            days: days.iter().map(|number| day(*number)).collect(),
        };
        let said = |stood_in: &[StoodIn]| {
            who_stood_in(Words::default(), stood_in, &[day(17), day(18), day(19)])
        };
        let hill = one("Hill logger", &[17, 18, 19]);
        let merced = one("Merced airport", &[1, 18, 19]);
        assert_eq!(
            said(&[hill.clone(), merced]),
            " (Hill logger; Merced airport Apr 18–19)"
        );
        assert_eq!(said(&[hill, one("Yard", &[1])]), " (Hill logger)");
        assert_eq!(said(&[]), "");
    }

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
