//! What is told of an event in one sentence.

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

/// What is told of an event, in its parts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Sentence {
    /// What it is about.
    pub(crate) about: String,
    /// What a subject line has room for, without the days.
    pub(crate) brief: String,
    /// The days it is about, where there are any.
    pub(crate) when: Option<String>,
    /// All that is told of it.
    pub(crate) says: String,
}

impl Sentence {
    /// As a whole.
    pub(crate) fn whole(&self) -> String {
        format!("{}: {}", self.about, self.says)
    }

    /// What is told goes on; the rest does not.
    fn and(mut self, more: &str) -> Self {
        self.says.push_str(more);
        self
    }

    /// The brief says so much more.
    fn briefly(mut self, state: &str) -> Self {
        self.brief = format!("{} {state}", self.about);
        self
    }
}

impl Words {
    /// A notice as a whole sentence, without the block it is about.
    #[must_use]
    pub fn sentence(self, notice: &Notice, season: &BlockSeason) -> String {
        self.told(&[notice], season).whole()
    }

    /// What an event is about, in a few words.
    #[must_use]
    pub fn event(self, event: &Event, season: &BlockSeason) -> String {
        subject_of(event, season)
    }

    /// Notices that differ only in their trap, without the block they are about; at least one.
    pub(crate) fn told(self, notices: &[&Notice], season: &BlockSeason) -> Sentence {
        let Some(first) = notices.first() else {
            return Sentence::default();
        };
        let event = &first.event;
        let what = match (event, notices.len()) {
            (Event::PastServiceLife(..), 2..) => subject_of_all(notices),
            _ => subject_of(event, season),
        };
        match &first.change {
            Change::New(value) => {
                let news = self.news(event, &what, *value, season);
                news.and(&late(event, first.late))
            }
            Change::History(value) => {
                let news = self.news(event, &what, *value, season);
                news.and(" (before Duskflight began here)")
            }
            Change::Nearer { was, told_on, now } => {
                let news = self.news(event, &what, *now, season);
                let (told_on, was) = (self.day(*told_on), self.value(*was));
                news.and(&format!("; told on {told_on} as {was}"))
            }
            Change::Corrected { was, told_on, now } => {
                let ahead_again =
                    matches!((event, now), (Event::MarkPassed(_), Value::Range { .. }));
                let news = match ahead_again {
                    true => self.ahead_again(what, *now, begun_of(event, season)),
                    false => self.news(event, &what, *now, season),
                };
                let (told_on, was) = (self.day(*told_on), self.value(*was));
                changed(event, news).and(&format!("; instead of {was}, told on {told_on}"))
            }
            Change::FoundAgain {
                was,
                told_on,
                withdrawn_on,
                now,
            } => {
                let news = self.news(event, &what, *now, season);
                let (told_on, withdrawn_on) = (self.day(*told_on), self.day(*withdrawn_on));
                let was = self.value(*was);
                found_again(news).and(&format!(
                    "; it stands as told on {told_on} ({was}), not as withdrawn on {withdrawn_on}"
                ))
            }
            Change::Withdrawn { was, told_on, why } => Sentence {
                brief: format!("withdrawn: {what}"),
                when: None,
                says: format!(
                    "withdrawn; told on {} as {}; now: {}",
                    self.day(*told_on),
                    self.value(*was),
                    self.why_gone(why)
                ),
                about: what,
            },
        }
    }

    /// What holds now.
    fn news(self, event: &Event, what: &str, value: Value, season: &BlockSeason) -> Sentence {
        let when = self.value(value);
        let told = |says: String| Sentence {
            brief: what.to_owned(),
            when: value.day().map(|_| self.span(value)),
            about: what.to_owned(),
            says,
        };
        match event {
            Event::HangEggTraps | Event::HangMothTraps => {
                let to_hang = traps_to_hang(event, season);
                let stand = where_they_stand(self, season, to_hang);
                told(format!("by {when}{stand}"))
            }
            Event::StartProvisional => {
                let next = match season.start.evidence.why {
                    WhyStart::Doubted { .. } => "the estimate does not agree: see To decide",
                    WhyStart::NotDated { .. } => "it waits for temperatures to be dated by",
                    _ => "the next check decides",
                };
                told(format!("provisional: {when}; {next}")).briefly("provisional")
            }
            Event::Start => told(self.start_news(value, season)),
            Event::StartNotKnown => Sentence {
                when: None,
                ..told(
                    "not known: the egg traps have not shown it, so no dates can be given for this block"
                        .to_owned(),
                )
            }
            .briefly("not known"),
            Event::SecondCandidate => told(format!(
                "{when}; after two quiet weeks the egg traps met the rule again; the start stays unless you set \
                 it by hand"
            )),
            Event::MarkNear(mark) | Event::MarkNearOfVariety(mark, _) => {
                let begun = begun(told_reading(season, mark));
                told(format!("projected {when}{begun}"))
            }
            Event::MarkPassed(mark) => match value {
                Value::Range { .. } => told(format!("projected {when}{}", begun_of(event, season))),
                _ => {
                    let reading = told_reading(season, mark);
                    let says = self.passed(value, reading);
                    Sentence {
                        brief: format!("{} mark passed", without_laying(what)),
                        ..told(says)
                    }
                }
            },
            Event::HullSplit => self.hull_split_news(told(when), value, season),
            Event::Flight(part, number) => self.flight_news(*part, *number, value, season),
            Event::MarginTurned(mark, variety) => {
                let beside = self.margin_beside(season, mark, variety);
                Sentence {
                    brief: format!("{what}: {when}"),
                    ..told(format!("{when}{beside}"))
                }
            }
            Event::PastServiceLife(_, _, since) => {
                let since = self.day(*since);
                told(format!("service life ended {when} (in since {since})"))
                    .briefly("past its service life")
            }
            Event::SentinelCatch(trap, date) => {
                let checked = season.beside.disruption.iter();
                let mut catches = checked.flat_map(|checked| &checked.catches);
                let caught = catches.find(|c| &c.trap == trap && c.date == *date);
                let running = match caught.is_some_and(|caught| caught.running) {
                    true => ", and some in the reading before",
                    false => "",
                };
                told(format!(
                    "{when}{running}; under mating disruption it should catch none"
                ))
            }
        }
    }

    /// A start as it is told, with what is projected to come first.
    fn start_news(self, value: Value, season: &BlockSeason) -> String {
        let start = &season.start;
        let status = start.status.words();
        let day = match value {
            Value::Within { early, day, late } if early < late => {
                format!("about {} ({})", self.day(day), self.stretch(early, late))
            }
            _ => self.value(value),
        };
        let from = match start.status {
            StartStatus::Borrowed => format!(" from the egg traps of {}", start.evidence.group),
            _ => String::new(),
        };
        let next = season
            .marks
            .iter()
            .filter(|reading| reading.told && reading.begins_laying);
        let next = next
            .filter_map(|reading| Some((reading, reading.outcome.projection()?)))
            .next();
        let next = next.map_or_else(String::new, |(reading, projection)| {
            let range = self.range(projection.early, projection.late);
            format!("; {} projected {range}", reading.name)
        });
        format!("{day}, {status}{from}{next}")
    }

    /// The first split of a block, seen or still ahead.
    fn hull_split_news(self, told: Sentence, value: Value, season: &BlockSeason) -> Sentence {
        let when = self.span(value);
        let variety = season.split_seen.as_ref().map(|seen| seen.variety.as_str());
        match (value, variety) {
            (Value::Range { .. }, _) => Sentence {
                says: format!("expected {when}"),
                ..told
            },
            (_, Some(variety)) => Sentence {
                says: format!("seen {when} in {variety}"),
                ..told
            }
            .briefly("seen"),
            (_, None) => told.briefly("seen"),
        }
    }

    /// A mark that was told as passed and is not yet.
    fn ahead_again(self, what: String, value: Value, begun: &str) -> Sentence {
        Sentence {
            brief: format!("{} mark not passed yet", without_laying(&what)),
            when: Some(self.span(value)),
            says: format!(
                "mark not passed yet, projected {}{begun}",
                self.value(value)
            ),
            about: what,
        }
    }

    /// A mark told as passed, in words that claim no more.
    fn passed(self, value: Value, reading: Option<&MarkReading>) -> String {
        let how = match reading.map(|reading| &reading.outcome) {
            Some(Outcome::Passed { firm: false, .. }) => {
                "computed, carried over by an estimated day"
            }
            Some(Outcome::Passed {
                by_estimate: true, ..
            }) => "computed, on an estimated day",
            _ => "computed",
        };
        let seen = match reading.is_some_and(|reading| reading.begins_laying) {
            true => "egg laying not observed",
            false => "not an observation",
        };
        let when = match value {
            Value::Within { early, day, late } if early < late => {
                format!(
                    "about {} ({}; {how}; {seen})",
                    self.day(day),
                    self.stretch(early, late)
                )
            }
            _ => format!("{} ({how}; {seen})", self.span(value)),
        };
        format!("degree-day mark passed {when}")
    }

    /// A flight's start, peak or end as the traps show it.
    fn flight_news(
        self,
        part: FlightPart,
        number: u8,
        value: Value,
        season: &BlockSeason,
    ) -> Sentence {
        let (about, when) = (flight_name(season, number), self.value(value));
        let seen: Option<(&Flights, &Flight)> =
            season.flights.as_ref().ok().zip(season.flight(number));
        let happened = match part {
            FlightPart::Start => "started",
            FlightPart::Peak => "peak",
            FlightPart::End => "back at the low",
        };
        let says = seen.and_then(|(seen, of)| {
            let nights = self.round(part.round(of)?);
            let counted = seen.counted.words(2);
            let mut phrases = vec![format!("{happened} {nights}, {counted}")];
            let peak = (part == FlightPart::Peak).then(|| self.peak_notes(of));
            phrases.extend(peak.into_iter().flatten());
            Some(phrases.join("; "))
        });
        Sentence {
            brief: format!("{about}: {happened}"),
            says: says.unwrap_or_else(|| format!("{happened} {when}")),
            when: Some(when),
            about,
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

/// A mark's name as a subject has room for it.
fn without_laying(name: &str) -> &str {
    name.strip_suffix(" egg laying").unwrap_or(name)
}

/// That what was told changed.
fn changed(event: &Event, news: Sentence) -> Sentence {
    let changed = match event {
        Event::MarginTurned(..) => "turned",
        _ => "corrected",
    };
    Sentence {
        brief: format!("{changed}: {}", news.brief),
        says: format!("{changed}: {}", news.says),
        ..news
    }
}

/// That what was withdrawn holds after all.
fn found_again(news: Sentence) -> Sentence {
    Sentence {
        brief: format!("found again: {}", news.brief),
        says: format!("found again: {}", news.says),
        ..news
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
        Event::StartProvisional | Event::Start | Event::StartNotKnown => {
            "egg-laying start".to_owned()
        }
        Event::SecondCandidate => "second candidate for the egg-laying start".to_owned(),
        Event::HullSplit => "first hull split".to_owned(),
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

/// That what a mark's event projects may have begun.
fn begun_of(event: &Event, season: &BlockSeason) -> &'static str {
    match event {
        Event::MarkNear(mark) | Event::MarkPassed(mark) => begun(told_reading(season, mark)),
        _ => "",
    }
}

/// That what a reading projects may have begun.
fn begun(reading: Option<&MarkReading>) -> &'static str {
    let projection = reading.and_then(|reading| reading.outcome.projection());
    projection.map_or("", may_have_begun)
}

#[cfg(test)]
mod tests;
