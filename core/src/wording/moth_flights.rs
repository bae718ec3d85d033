//! Flights in sentences: counts and traps with each, and why something cannot be told.

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::orchard::TrapKind;
use crate::season::{BlockSeason, MarkReading, Outcome};
use crate::temperature::Unit;
use crate::trapping::{Flight, FlightDay, Flights, NumberedBy, Peak, Round, WhyNoDay};

use super::gather::trap_list;
use super::words::{Words, degree_days, rate_words};

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
        let mut lines: Vec<String> = self.read_beside(flights).into_iter().collect();
        let last = flights.flights.last().map_or(0, |flight| flight.number);
        lines.extend((1..=last).map(|number| self.flight_line(season, flights, number)));
        lines.extend(self.newest_line(flights));
        lines
    }

    /// The flight of a number, or that it was not seen.
    fn flight_line(self, season: &BlockSeason, flights: &Flights, number: u8) -> String {
        let counted = flights.counted.words(2);
        let name = flight_name(season, number);
        match season.flight(number) {
            Some(flight) => format!(
                "{name} seen ({counted}): {}",
                self.flight(flight, season.unit)
            ),
            None => format!(
                "{name} not seen ({counted}): first reading {}",
                self.nights(flights.first.after, flights.first.by)
            ),
        }
    }

    /// A flight in one phrase.
    fn flight(self, flight: &Flight, unit: Unit) -> String {
        let start = match &flight.start {
            FlightDay::In(round) => format!("started {}", self.round(round)),
            other => format!("start: {}", self.no_day(other)),
        };
        let end = match &flight.end {
            FlightDay::In(round) => Some(format!("back at the low {}", self.round(round))),
            // With a peak still open there is no end to speak of.
            FlightDay::NotYet { .. } if flight.peak_round().is_none() => None,
            other => Some(format!("end: {}", self.no_day(other))),
        };
        let mut phrases = vec![start, self.highest(flight)];
        phrases.extend(self.peak_notes(flight));
        phrases.extend(self.humps(flight));
        phrases.extend(end);
        phrases.extend(between(flight, unit));
        phrases.join("; ")
    }

    /// The highest catch of a flight by its dates, and how far it is the peak.
    fn highest(self, flight: &Flight) -> String {
        let round = &flight.highest;
        let full = matches!(flight.peak, Peak::AtLeast(..)) || !round.undercounts.is_empty();
        let highest = format!(
            "{}{} per trap per night {}",
            if full { "at least " } else { "" },
            rate_words(round.per_trap_night()),
            self.nights(round.after, round.by)
        );
        match &flight.peak {
            Peak::Seen | Peak::AtLeast(..) => format!("peak {highest}"),
            Peak::SoFar(why) => format!("highest so far {highest}, {}", why.words()),
            Peak::MayBeBefore => {
                format!("highest {highest}, the first reading: the peak may have been before it")
            }
        }
    }

    /// What the day of a peak must be read with.
    pub(crate) fn peak_notes(self, flight: &Flight) -> Vec<String> {
        let full = match &flight.peak {
            Peak::AtLeast(day, traps) => Some(self.full_liners(*day, traps)),
            _ => None,
        };
        let doubt = |doubt: &WhyNoDay| format!("peak less sure: {}", self.why_no_day(doubt));
        full.into_iter()
            .chain(flight.peak_doubts.iter().map(doubt))
            .collect()
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
        let number = season.flight_of(&reading.mark)?;
        let round = season.flight(number)?.start.round()?;
        let flight = format!(
            "the traps showed the {} starting",
            flight_name(season, number)
        );
        let between = self.nights(round.after, round.by);
        Some(match (date - round.by).num_days() {
            0 => format!("{flight} {between}, by the same day"),
            days @ 1.. => format!("{flight} {between}, {} before", counted_days(days)),
            days => format!("{flight} {between}, {} after", counted_days(-days)),
        })
    }

    /// The nights between two readings.
    fn nights(self, after: NaiveDate, by: NaiveDate) -> String {
        format!("between {} and {}", self.day(after), self.day(by))
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
            "{} ({} caught, {} of {} traps read{left_out})",
            self.nights(round.after, round.by),
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

    /// Why flights of a block without disruption are read from combined traps though pheromone traps hang.
    pub(crate) fn read_beside(self, flights: &Flights) -> Option<String> {
        let far_below = flights.far_below?;
        let [males, moths] = far_below.rates().map(rate_words);
        Some(format!(
            "flights are read from the combined traps: to {} the pheromone traps beside them caught {males} males \
             per trap per night, and they {moths} moths; that is what mating disruption near by looks like",
            self.day(far_below.by)
        ))
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
        if flights.numbered_by == NumberedBy::Order {
            line.push_str("; numbered in the order seen");
        }
        if flights.kind == TrapKind::PheromonePpo && flights.beside.contains(&TrapKind::BaitBag) {
            line.push_str("; bait bags stand beside, no flight is read from them");
        }
        line.push_str("; read by practice, no published way");
        Some(line)
    }
}

/// What a flight of the year is called.
pub(crate) fn flight_name(season: &BlockSeason, number: u8) -> String {
    let declared = season.flight_name(number);
    declared.map_or_else(|| format!("{} flight", ordinal(number)), str::to_owned)
}

/// Heat between two flights beside what is published.
fn between(flight: &Flight, unit: Unit) -> Option<String> {
    let (heat, published) = flight.heat_between?;
    let heat = degree_days(heat, unit);
    let published = published.map(|generation| {
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

fn ordinal(number: u8) -> String {
    match number {
        1 => "1st".to_owned(),
        2 => "2nd".to_owned(),
        3 => "3rd".to_owned(),
        more => format!("{more}th"),
    }
}

#[cfg(test)]
mod tests;
