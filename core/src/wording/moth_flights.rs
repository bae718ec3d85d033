//! Flights in sentences: counts and traps with each, and why something cannot be told.

use crate::id::TrapId;
use crate::season::{BlockSeason, MarkReading, Outcome};
use crate::temperature::Unit;
use crate::trapping::{Flight, FlightDay, Flights, Round};

use super::gather::trap_list;
use super::words::{Words, degree_days, rate_words};

/// A digest still mentions a flight that ended so long ago.
const ENDED_LATELY_DAYS: i64 = 14;

impl Words {
    /// The flights of a block, one a line and the newest reading last.
    #[must_use]
    pub fn flight_lines(self, season: &BlockSeason) -> Vec<String> {
        let flights = match &season.flights {
            Ok(flights) => flights,
            Err(why) => {
                return vec![format!(
                    "flights: can't tell: {}",
                    self.why_no_flights(*why)
                )];
            }
        };
        let counted = flights.counted.words(2);
        let of_flights = flights.flights.iter().zip(1..);
        let mut lines: Vec<String> = of_flights
            .map(|(flight, number)| {
                format!(
                    "{} flight seen ({counted}): {}",
                    ordinal(number),
                    self.flight(flight, season.unit)
                )
            })
            .collect();
        lines.extend(self.newest_line(flights));
        lines
    }

    /// The flight that goes on, or that ended in the last days, or what the newest reading adds.
    pub(crate) fn flight_now(self, season: &BlockSeason) -> Option<String> {
        let flights = season.flights.as_ref().ok()?;
        let over = |flight: &Flight| {
            let end = flight.end.round();
            end.is_some_and(|round| (season.as_of - round.by).num_days() > ENDED_LATELY_DAYS)
        };
        let newest = self.newest_line(flights);
        newest.or_else(|| {
            let last = flights.flights.last().filter(|flight| !over(flight));
            last.and_then(|_| self.flight_lines(season).pop())
        })
    }

    /// A flight in one phrase.
    fn flight(self, flight: &Flight, unit: Unit) -> String {
        let start = match &flight.start {
            FlightDay::In(round) => format!("started {}", self.round(round)),
            other => format!("start: {}", self.no_day(other)),
        };
        let highest = format!(
            "{} a trap and night in the nights to {}",
            rate_words(flight.highest.per_trap_night()),
            self.day(flight.highest.by)
        );
        let peak = match &flight.peak {
            FlightDay::In(_) => format!("peak {highest}"),
            FlightDay::NotYet { why } => format!("{}, highest so far {highest}", why.words()),
            other => format!("peak: {}; highest counted {highest}", self.no_day(other)),
        };
        let end = match &flight.end {
            FlightDay::In(round) => Some(format!("back at the low {}", self.round(round))),
            // With a peak still open there is no end to speak of.
            FlightDay::NotYet { .. } if flight.peak.round().is_none() => None,
            other => Some(format!("end: {}", self.no_day(other))),
        };
        let mut phrases = vec![start, peak];
        phrases.extend(self.humps(flight));
        phrases.extend(end);
        phrases.extend(between(flight, unit));
        phrases.join("; ")
    }

    fn humps(self, flight: &Flight) -> Option<String> {
        let humps = flight.other_humps.iter().map(|round| self.day(round.by));
        let days: Vec<String> = humps.collect();
        (!days.is_empty()).then(|| {
            format!(
                "another hump in the nights to {}, too near for another generation",
                Self::listed(&days)
            )
        })
    }

    /// What the traps showed beside the day on which a generation's egg laying was computed to begin; nothing
    /// beside one that is ahead.
    pub(crate) fn traps_beside(
        self,
        season: &BlockSeason,
        reading: &MarkReading,
    ) -> Option<String> {
        let Outcome::Passed { date, .. } = reading.outcome else {
            return None;
        };
        let (number, round) = reading.begins_laying.then(|| season.flight_near(date))??;
        let flight = format!("the traps showed the {} flight starting", ordinal(number));
        let between = format!(
            "between {} and {}",
            self.day(round.after),
            self.day(round.by)
        );
        Some(match (date - round.by).num_days() {
            0 => format!("{flight} {between}, by the same day"),
            days @ 1.. => format!("{flight} {between}, {} before", counted_days(days)),
            days => format!("{flight} {between}, {} after", counted_days(-days)),
        })
    }

    /// A round by its days, with its counts.
    pub(crate) fn round(self, round: &Round) -> String {
        let past_life: Vec<&TrapId> = round.past_life.iter().collect();
        let left_out = match &past_life[..] {
            [] => String::new(),
            // Counted all the same, since nearly nothing else was read.
            _ if round.mostly_past_life => String::new(),
            traps => format!("; {} not counted, past a service life", trap_list(traps)),
        };
        format!(
            "between {} and {} ({} caught, {} of {} traps read{left_out})",
            self.day(round.after),
            self.day(round.by),
            round.count,
            round.traps_read,
            round.traps_hung
        )
    }

    fn no_day(self, day: &FlightDay) -> String {
        match day {
            FlightDay::In(round) => self.round(round),
            FlightDay::NotYet { why } => why.words().to_owned(),
            FlightDay::CannotTell { why } => format!("can't tell: {}", self.why_no_day(why)),
        }
    }

    /// What the newest round adds, where it is not part of a flight.
    fn newest_line(self, flights: &Flights) -> Option<String> {
        let counted = flights.counted.words(2);
        let newest = self.round(&flights.newest);
        if flights.newest.mostly_past_life && flights.newest.count == 0 {
            let kind = flights.kind.name();
            Some(format!(
                "newest reading {newest}: no information, {kind} traps were past a service life"
            ))
        } else if flights.may_be_starting {
            Some(format!(
                "newest reading {newest}: {counted} above the low, too early to say whether a flight starts"
            ))
        } else if flights.flights.is_empty() {
            Some(format!("no flight seen yet ({counted}): {newest}"))
        } else {
            None
        }
    }

    /// What the flights of a block rest on.
    pub(crate) fn flight_evidence(self, season: &BlockSeason) -> Option<String> {
        let flights = season.flights.as_ref().ok()?;
        let mut line = format!(
            "flights: {} traps, {} of {} rounds of readings with half of the traps read or more",
            flights.kind.name(),
            flights.usable,
            flights.rounds
        );
        for (what, traps) in [
            ("past a service life", flights.newest.past_life.len()),
            ("too full to count all", flights.newest.undercounts.len()),
        ] {
            if traps > 0 {
                line.push_str(&format!(", {traps} {what} at the newest"));
            }
        }
        line.push_str("; read by practice, no published way");
        Some(line)
    }
}

/// Heat between two flights beside what is published.
fn between(flight: &Flight, unit: Unit) -> Option<String> {
    let heat = degree_days(flight.heat_between?, unit);
    let published = flight.published.map(|generation| {
        let at = degree_days(generation.at, unit);
        generation.range.map_or(at.clone(), |(low, high)| {
            let (low, high) = (low.in_unit(unit), high.in_unit(unit));
            format!("{at}, {low:.0} to {high:.0} possible")
        })
    });
    let beside = published.map_or(String::new(), |text| format!(" (one generation: {text})"));
    Some(format!(
        "{heat} after the highest catch of the flight before{beside}"
    ))
}

pub(super) fn counted_days(days: i64) -> String {
    let plural = if days == 1 { "day" } else { "days" };
    format!("{days} {plural}")
}

pub(crate) fn ordinal(number: usize) -> String {
    match number {
        1 => "1st".to_owned(),
        2 => "2nd".to_owned(),
        3 => "3rd".to_owned(),
        more => format!("{more}th"),
    }
}

#[cfg(test)]
mod tests;
