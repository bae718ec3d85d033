//! What is told of an event in one sentence, in two lengths.

use crate::id::{MarkId, TrapId};
use crate::orchard::{Part, TrapKind};
use crate::season::{BlockSeason, MarkReading, Outcome, TrapsToHang};
use crate::trapping::{Flight, Flights, StartStatus, WhyStart};

use super::gather::trap_list;
use super::moth_flights::flight_name;
use super::trap_plan::hanging_source;
use super::words::{Words, mark_name, may_have_begun};
use crate::ledger::Value;
use crate::ledger::{Change, Notice};
use crate::ledger::{Event, FlightPart};

/// A sentence in two lengths: for a subject line, and for the mail itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Sentence {
    /// What a subject line has room for.
    pub(crate) brief: String,
    /// All of it.
    pub(crate) whole: String,
}

impl Sentence {
    fn new(text: String) -> Self {
        Self {
            brief: text.clone(),
            whole: text,
        }
    }

    /// The whole goes on; the brief does not.
    fn and(mut self, more: &str) -> Self {
        self.whole.push_str(more);
        self
    }
}

impl Words {
    /// A notice as a whole sentence, without the block it is about.
    #[must_use]
    pub fn sentence(self, notice: &Notice, season: &BlockSeason) -> String {
        self.told(&[notice], season).whole
    }

    /// Notices that differ only in their trap, without the block they are about; at least one.
    pub(crate) fn told(self, notices: &[&Notice], season: &BlockSeason) -> Sentence {
        let Some(first) = notices.first() else {
            return Sentence::default();
        };
        let event = &first.event;
        let what = match notices {
            [_] => subject_of(event, season),
            _ => subject_of_all(notices),
        };
        let news = |value| self.news(event, &what, value, season);
        match &first.change {
            Change::New(value) => news(*value).and(&late(event, first.late)),
            Change::History(value) => news(*value).and(" (before Duskflight began here)"),
            Change::Nearer { was, told_on, now } => news(*now).and(&format!(
                "; told on {} as {}",
                self.day(*told_on),
                self.value(*was)
            )),
            Change::Corrected { was, told_on, now } => {
                let Sentence { brief, whole } = news(*now);
                let instead = format!(
                    "; instead of {}, told on {}",
                    self.value(*was),
                    self.day(*told_on)
                );
                let changed = match event {
                    Event::MarginTurned(..) => "turned",
                    _ => "corrected",
                };
                Sentence {
                    brief: format!("{changed}: {brief}"),
                    whole: format!("{changed}: {whole}"),
                }
                .and(&instead)
            }
            Change::Withdrawn { was, told_on, why } => {
                Sentence::new(taken_back(event, &what)).and(&format!(
                    "; told on {} as {}; now: {}",
                    self.day(*told_on),
                    self.value(*was),
                    self.why_gone(why)
                ))
            }
        }
    }

    /// What holds now.
    fn news(self, event: &Event, what: &str, value: Value, season: &BlockSeason) -> Sentence {
        let when = self.value(value);
        match event {
            Event::HangEggTraps | Event::HangMothTraps => {
                let to_hang = traps_to_hang(event, season);
                Sentence::new(format!("{what} by {when}"))
                    .and(&where_they_stand(self, season, to_hang))
            }
            Event::StartProvisional => {
                let next = match season.start.evidence.why {
                    WhyStart::Doubted { .. } => "; the estimate does not agree: see To decide",
                    WhyStart::NotDated { .. } => "; it waits for temperatures to be dated by",
                    _ => "; the next check decides",
                };
                Sentence::new(format!("{what}: {when}")).and(next)
            }
            Event::Start => {
                let status = season.start.status.words();
                let by = match season.start.is_estimated() {
                    true => "by estimate ",
                    false => "",
                };
                let sentence = Sentence::new(format!("{what} {status}: {by}{when}"));
                match season.start.status {
                    StartStatus::Borrowed => {
                        let group = &season.start.evidence.group;
                        sentence.and(&format!(", from the egg traps of {group}"))
                    }
                    _ => sentence,
                }
            }
            Event::SecondCandidate => Sentence::new(format!("{what}: {when}")).and(
                "; after two quiet weeks the egg traps met the rule again; the start stays unless \
                 you set it by hand",
            ),
            Event::MarkNear(mark) | Event::MarkNearOfVariety(mark, _) => Sentence {
                brief: format!("{what} projected {}", self.span(value)),
                whole: format!("{what} projected {when}"),
            }
            .and(begun(told_reading(season, mark))),
            Event::MarkPassed(mark) => self.passed(what, value, told_reading(season, mark)),
            Event::Flight(part, number) => self.flight_news(*part, *number, value, season),
            Event::MarginTurned(mark, variety) => Sentence::new(format!("{what}: {when}"))
                .and(&self.margin_beside(season, mark, variety)),
            Event::PastServiceLife(_, _, since) => {
                let since = self.day(*since);
                Sentence::new(format!(
                    "{what}: service life ended {when} (in since {since})"
                ))
            }
            Event::SentinelCatch(trap, date) => {
                let checked = season.beside.disruption.iter();
                let mut catches = checked.flat_map(|checked| &checked.catches);
                let caught = catches.find(|c| &c.trap == trap && c.date == *date);
                let running = match caught.is_some_and(|caught| caught.running) {
                    true => ", and some in the reading before",
                    false => "",
                };
                Sentence::new(format!("{what}: {when}"))
                    .and(running)
                    .and("; under mating disruption it should catch none")
            }
        }
    }

    /// A mark told as passed; after a revision it may be ahead again.
    fn passed(self, what: &str, value: Value, reading: Option<&MarkReading>) -> Sentence {
        let when = self.span(value);
        let within = match value {
            Value::Within { early, late, .. } => format!(" within {}", self.stretch(early, late)),
            _ => String::new(),
        };
        match reading.map(|reading| &reading.outcome) {
            Some(Outcome::Projected(projection)) => {
                let range = self.value(projection.into());
                Sentence::new(format!("{what}: mark not passed yet"))
                    .and(&format!(", projected {range}"))
                    .and(begun(reading))
            }
            outcome => {
                let how = match outcome {
                    Some(Outcome::Passed { firm: false, .. }) => {
                        "computed, carried over by an estimated day"
                    }
                    Some(Outcome::Passed {
                        by_estimate: true, ..
                    }) => "computed, on an estimated day",
                    _ => "computed",
                };
                Sentence {
                    brief: format!("{what}: mark passed {when}"),
                    whole: format!(
                        "{what}: degree-day mark passed {when} ({how}{within}, not an observation)"
                    ),
                }
            }
        }
    }

    /// A flight's start, peak or end as the traps show it.
    fn flight_news(
        self,
        part: FlightPart,
        number: u8,
        value: Value,
        season: &BlockSeason,
    ) -> Sentence {
        let (flight, when) = (flight_name(season, number), self.value(value));
        let seen: Option<(&Flights, &Flight)> =
            season.flights.as_ref().ok().zip(season.flight(number));
        let happened = match part {
            FlightPart::Start => "started",
            FlightPart::Peak => "peak",
            FlightPart::End => "back at the low",
        };
        let whole = seen.and_then(|(seen, of)| {
            let nights = self.round(part.round(of)?);
            let counted = seen.counted.words(2);
            let mut phrases = vec![format!(
                "{flight} observed ({counted}): {happened} {nights}"
            )];
            phrases.extend(
                (part == FlightPart::Peak)
                    .then(|| self.peak_notes(of))
                    .into_iter()
                    .flatten(),
            );
            Some(phrases.join("; "))
        });
        let brief = format!("{flight} {happened} {when}");
        Sentence {
            whole: whole.unwrap_or_else(|| brief.clone()),
            brief,
        }
    }

    /// The shake beside the egg laying of one mark.
    fn margin_beside(self, season: &BlockSeason, mark: &MarkId, variety: &str) -> String {
        let beside = || {
            let mut varieties = season.exposure.iter();
            let exposure = varieties.find(|of| of.variety == variety)?;
            let laying = exposure.layings.iter().find(|of| &of.mark == mark)?;
            self.margin_briefly(exposure, laying)
        };
        beside().map_or_else(String::new, |line| format!("; {line}"))
    }

    /// A told value without the middle of its range.
    pub(crate) fn span(self, value: Value) -> String {
        match value {
            Value::Range { early, late, .. } => self.range(early, late),
            Value::Within { day, .. } => self.day(day),
            Value::Day(_) | Value::Caught { .. } | Value::First(_) => self.value(value),
        }
    }
}

/// The traps that an event asks to hang.
fn traps_to_hang<'a>(event: &Event, season: &'a BlockSeason) -> Option<&'a TrapsToHang> {
    match event {
        Event::HangMothTraps => season.work.moth_traps_to_hang.as_ref(),
        _ => season.work.egg_traps_to_hang.as_ref(),
    }
}

/// Where traps that are still to hang stand.
fn where_they_stand(words: Words, season: &BlockSeason, wanted: Option<&TrapsToHang>) -> String {
    let source = hanging_source(season.block.crop);
    let mut text = format!(" ({source}): {}", none_hangs(wanted));
    if let Some((count, first)) = wanted.and_then(|wanted| wanted.declared) {
        let first = words.day(first);
        text.push_str(&format!("; {count} declared to hang from {first} on"));
    }
    if let Some(wanted) = wanted.and_then(|wanted| wanted.wanted.first()) {
        text.push_str(&format!("; wanted {}", words.wanted(wanted)));
    }
    text
}

/// That no trap hangs; of moth traps, which kinds that is said of: others may hang.
fn none_hangs(wanted: Option<&TrapsToHang>) -> String {
    let kinds = wanted.map_or(&[][..], |wanted| &wanted.kinds);
    let moths = kinds.iter().filter(|kind| **kind != TrapKind::Egg);
    let moths: Vec<&str> = moths.map(|kind| kind.name()).collect();
    match moths.is_empty() {
        true => "none hangs".to_owned(),
        false => format!("no {} trap hangs", moths.join(" or ")),
    }
}

/// That something told holds no more.
fn taken_back(event: &Event, what: &str) -> String {
    match event {
        Event::PastServiceLife(..) => format!("{what}: not past its service life after all"),
        _ => format!("{what} withdrawn"),
    }
}

/// That news comes late: people enter readings, and a station's days come by themselves.
fn late(event: &Event, days: Option<u32>) -> String {
    let known = match event {
        Event::MarkPassed(..) | Event::MarkNear(..) | Event::MarkNearOfVariety(..) => "known late",
        _ => "entered late",
    };
    days.map_or_else(String::new, |days| format!("; {known}, {days} days after"))
}

/// What an event is about.
pub(crate) fn subject_of(event: &Event, season: &BlockSeason) -> String {
    match event {
        Event::HangEggTraps => "egg traps to hang".to_owned(),
        Event::HangMothTraps => "moth traps to hang".to_owned(),
        Event::StartProvisional => "egg-laying start provisional".to_owned(),
        Event::Start => "egg-laying start".to_owned(),
        Event::SecondCandidate => "second candidate for the egg-laying start".to_owned(),
        Event::MarkNear(mark) | Event::MarkPassed(mark) => mark_name(season, mark),
        Event::MarkNearOfVariety(mark, variety) => {
            format!("{} ({variety})", mark_name(season, mark))
        }
        Event::Flight(part, number) => {
            let part = match part {
                FlightPart::Start => "start",
                FlightPart::Peak => "peak",
                FlightPart::End => "end",
            };
            format!("{part} of the {}", flight_name(season, *number))
        }
        Event::MarginTurned(mark, variety) => {
            format!("harvest of {variety} and {}", mark_name(season, mark))
        }
        Event::PastServiceLife(trap, part, _) => format!("{} of trap {trap}", part.words()),
        Event::SentinelCatch(trap, _) => format!("catch of sentinel {trap}"),
    }
}

/// The part that several traps share: all notices are about it.
fn subject_of_all(notices: &[&Notice]) -> String {
    let parts: Vec<(&TrapId, Part)> = notices
        .iter()
        .filter_map(|notice| match &notice.event {
            Event::PastServiceLife(trap, part, _) => Some((trap, *part)),
            _ => None,
        })
        .collect();
    let part = parts.first().map_or("part", |(_, part)| part.words());
    let traps: Vec<&TrapId> = parts.into_iter().map(|(trap, _)| trap).collect();
    format!("{part} of traps {}", trap_list(&traps))
}

/// The reading of a mark.
pub(crate) fn told_reading<'a>(season: &'a BlockSeason, mark: &MarkId) -> Option<&'a MarkReading> {
    let mut readings = season.marks.iter();
    readings.find(|reading| &reading.mark == mark)
}

/// That what a reading projects may have begun.
fn begun(reading: Option<&MarkReading>) -> &'static str {
    let projection = reading.and_then(|reading| reading.outcome.projection());
    projection.map_or("", may_have_begun)
}

#[cfg(test)]
mod tests;
