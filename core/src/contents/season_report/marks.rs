//! Computed egg laying beside what the traps saw.

use crate::season::{BlockSeason, MarkReading, Outcome};
use crate::wording::Words;

/// A mark beside what was seen, cell by cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MarkRow {
    /// Its name.
    pub name: String,
    /// The computed day, or why there is none.
    pub computed: String,
    /// Between which readings the flight that lays its eggs started; empty where that does not matter or nothing tells.
    pub flight: String,
    /// How far from the computed day the traps had it; below zero for earlier.
    pub flight_days: Option<i64>,
    /// From which check on egg traps showed eggs again; empty where they did not.
    pub eggs: String,
    /// How far from the computed day that was.
    pub eggs_days: Option<i64>,
}

impl MarkRow {
    /// Every mark that people are told; none where none has a day.
    pub(super) fn all(words: Words, season: &BlockSeason) -> Vec<Self> {
        let told = || season.marks.iter().filter(|reading| reading.told);
        match told().any(|reading| reading.outcome.days().is_some()) {
            true => told()
                .map(|reading| Self::of(words, season, reading))
                .collect(),
            false => Vec::new(),
        }
    }

    fn of(words: Words, season: &BlockSeason, reading: &MarkReading) -> Self {
        let passed = match reading.outcome {
            Outcome::Passed { date, .. } => Some(date),
            _ => None,
        };
        let flight = season.flight_of(&reading.mark);
        let flight = flight.and_then(|number| season.flight(number)?.start.round());
        let flight = flight.filter(|_| passed.is_some());
        let lays = reading.begins_laying && passed.is_some();
        let seen = reading.eggs_seen.filter(|_| passed.is_some());
        Self {
            name: reading.name.clone(),
            computed: words.computed(&reading.outcome),
            flight: match flight {
                Some(round) => words.stretch(round.after, round.by),
                None if lays && season.flights.is_ok() => "not seen".to_owned(),
                None => String::new(),
            },
            flight_days: flight
                .zip(passed)
                .map(|(round, day)| (round.by - day).num_days()),
            eggs: seen.map_or_else(String::new, |seen| {
                format!(
                    "{} ({} of {})",
                    words.day(seen.from),
                    seen.with_eggs,
                    seen.read
                )
            }),
            eggs_days: seen
                .zip(passed)
                .map(|(seen, day)| (seen.from - day).num_days()),
        }
    }

    /// The difference of the flight in words.
    #[must_use]
    pub fn flight_beside(&self) -> String {
        self.flight_days.map_or_else(String::new, beside)
    }

    /// The difference of the eggs in words.
    #[must_use]
    pub fn eggs_beside(&self) -> String {
        self.eggs_days.map_or_else(String::new, beside)
    }
}

/// Days from a computed one.
pub(super) fn beside(days: i64) -> String {
    let plural = if days.abs() == 1 { "day" } else { "days" };
    match days {
        0 => "same day".to_owned(),
        1.. => format!("{days} {plural} after"),
        _ => format!("{} {plural} before", -days),
    }
}
