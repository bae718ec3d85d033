//! Sentences for people, the same in mail, page and command line. No markup.

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::id::{MarkId, TrapId};
use crate::orchard::Part;
use crate::season::{BlockSeason, HullSplit, MarkReading, Outcome};
use crate::temperature::{DegreeDays, Unit};
use crate::trapping::{Catch, EggLayingStart, StartStatus};

use super::decide::{Change, Notice};
use super::event::{Event, Value};
use super::gather::trap_list;

/// The order in which days are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DateOrder {
    /// `Jun 20`.
    #[default]
    MonthDay,
    /// `20 Jun`.
    DayMonth,
}

/// A start is confirmed by a second check a week later, and archives lag by some days.
const USUAL_DELAY_DAYS: i64 = 14;

/// A sentence in two lengths: for a subject line, and for the mail itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Sentence {
    /// What a subject line has room for.
    pub(super) brief: String,
    /// All of it.
    pub(super) whole: String,
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

/// Writes sentences in the farm's date order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Words {
    /// The order of month and day.
    pub order: DateOrder,
}

impl Words {
    /// A day of the season, without its year.
    #[must_use]
    pub fn day(self, day: NaiveDate) -> String {
        match self.order {
            DateOrder::MonthDay => day.format("%b %-d").to_string(),
            DateOrder::DayMonth => day.format("%-d %b").to_string(),
        }
    }

    /// A day with its weekday and year, for headings.
    #[must_use]
    pub fn long_day(self, day: NaiveDate) -> String {
        match self.order {
            DateOrder::MonthDay => day.format("%A, %B %-d, %Y").to_string(),
            DateOrder::DayMonth => day.format("%A, %-d %B %Y").to_string(),
        }
    }

    /// A stretch of days.
    #[must_use]
    pub fn stretch(self, first: NaiveDate, last: NaiveDate) -> String {
        if first == last {
            return self.day(first);
        }
        let same_month = (first.year(), first.month()) == (last.year(), last.month());
        match self.order {
            DateOrder::MonthDay if same_month => format!("{}–{}", self.day(first), last.day()),
            DateOrder::DayMonth if same_month => format!("{}–{}", first.day(), self.day(last)),
            _ => format!("{} – {}", self.day(first), self.day(last)),
        }
    }

    /// A projected range; one that reaches the end of the year is open, since in some years the
    /// mark is not reached at all.
    #[must_use]
    pub fn range(self, early: NaiveDate, late: NaiveDate) -> String {
        if (late.month(), late.day()) == (12, 31) {
            format!("{} or later", self.day(early))
        } else {
            self.stretch(early, late)
        }
    }

    /// A told value.
    #[must_use]
    pub fn value(self, value: Value) -> String {
        match value {
            Value::Day(day) => self.day(day),
            Value::Range {
                early,
                middle,
                late,
            } => {
                let range = self.range(early, late);
                format!("{range} (middle {})", self.day(middle))
            }
            Value::Caught { date, count } => {
                let moths = if count == 1 { "moth" } else { "moths" };
                format!("{count} {moths}, read {}", self.day(date))
            }
        }
    }

    /// Notices that differ only in their trap, without the block they are about; at least one.
    pub(super) fn told(self, notices: &[&Notice], season: &BlockSeason) -> Sentence {
        let (event, what, change) = match notices {
            [] => return Sentence::default(),
            [alone] => (
                &alone.event,
                subject_of(&alone.event, season),
                &alone.change,
            ),
            [first, ..] => (&first.event, subject_of_all(notices), &first.change),
        };
        let news = |value| self.news(event, &what, value, season);
        match change {
            Change::New(value) => news(*value),
            Change::History(value) => news(*value).and(" (before Duskflight began here)"),
            Change::Corrected { was, told_on, now } => {
                let Sentence { brief, whole } = news(*now);
                let instead = format!(
                    "; instead of {}, told on {}",
                    self.value(*was),
                    self.day(*told_on)
                );
                Sentence {
                    brief: format!("corrected: {brief}"),
                    whole: format!("corrected: {whole}"),
                }
                .and(&instead)
            }
            Change::Withdrawn {
                was,
                told_on,
                reason,
            } => Sentence::new(taken_back(event, &what)).and(&format!(
                "; told on {} as {}; now: {}",
                self.day(*told_on),
                self.value(*was),
                self.reworded(reason)
            )),
        }
    }

    /// What holds now.
    fn news(self, event: &Event, what: &str, value: Value, season: &BlockSeason) -> Sentence {
        let when = self.value(value);
        match event {
            Event::StartProvisional => {
                Sentence::new(format!("{what}: {when}")).and("; the next check decides")
            }
            Event::Start => {
                let status = season.start.status.words();
                Sentence::new(format!("{what} {status}: {when}")).and(&late(season, value))
            }
            Event::MarkNear(..) => Sentence {
                brief: format!("{what} projected {}", self.span(value)),
                whole: format!("{what} projected {when}"),
            },
            Event::MarkPassed(mark, variety) => self
                .passed(what, value, told_reading(season, mark, variety.as_deref()))
                .and(&late(season, value)),
            Event::PastServiceLife(_, _, since) => {
                let since = self.day(*since);
                Sentence::new(format!(
                    "{what}: service life ended {when} (in since {since})"
                ))
            }
            Event::SentinelCatch(trap, date) => {
                let checked = season.disruption.iter();
                let mut catches = checked.flat_map(|checked| &checked.catches);
                let caught = catches.find(|c| &c.trap == trap && c.date == *date);
                let running = match caught.is_some_and(|caught| caught.running) {
                    true => ", and some in the reading before",
                    false => "",
                };
                Sentence::new(format!("{what}: {when}"))
                    .and(running)
                    .and("; under mating disruption it should catch none")
                    .and(&late(season, Value::Day(*date)))
            }
        }
    }

    /// A mark told as passed; after a revision it may be ahead again.
    fn passed(self, what: &str, value: Value, reading: Option<&MarkReading>) -> Sentence {
        let when = self.value(value);
        match reading.map(|reading| &reading.outcome) {
            Some(Outcome::Projected(_)) => Sentence::new(format!("{what}: mark not passed yet"))
                .and(&format!(", projected {when}")),
            outcome => {
                let estimated =
                    matches!(outcome, Some(Outcome::Passed { by_estimate, .. }) if *by_estimate);
                let how = if estimated {
                    "computed, on an estimated day"
                } else {
                    "computed"
                };
                Sentence {
                    brief: format!("{what}: mark passed {when}"),
                    whole: format!(
                        "{what}: degree-day mark passed {when} ({how}); not observed in the block"
                    ),
                }
            }
        }
    }

    /// A told value without the middle of its range.
    pub(super) fn span(self, value: Value) -> String {
        match value {
            Value::Day(day) => self.day(day),
            Value::Range { early, late, .. } => self.range(early, late),
            Value::Caught { .. } => self.value(value),
        }
    }

    /// The start in one phrase.
    #[must_use]
    pub fn start(self, season: &BlockSeason) -> String {
        self.start_of(&season.start)
    }

    /// The same of any start.
    pub(super) fn start_of(self, start: &EggLayingStart) -> String {
        let status = start.status.words();
        match start.date {
            Some(date) => format!("{status} {}", self.day(date)),
            None => status.to_owned(),
        }
    }

    /// A mark's answer in one phrase.
    #[must_use]
    pub fn outcome(self, outcome: &Outcome) -> String {
        match outcome {
            Outcome::Passed { date, by_estimate } => {
                let estimate = if *by_estimate {
                    ", on an estimated day"
                } else {
                    ""
                };
                format!("passed {}{estimate}", self.day(*date))
            }
            Outcome::Projected(projection) => {
                format!("projected {}", self.value(projection.into()))
            }
            Outcome::CannotTell { reason } => format!("can't tell: {}", self.reworded(reason)),
        }
    }

    /// Catches of one kind in one phrase.
    #[must_use]
    pub fn catch(self, catch: &Catch) -> String {
        match catch.per_trap_night() {
            Some(rate) => format!(
                "{} {} ({} of {} traps read, {} a trap and night)",
                catch.count,
                catch.counted.words(catch.count),
                catch.traps_read,
                catch.traps_hung,
                rate_words(rate)
            ),
            None => format!("{} traps not read", catch.kind.name()),
        }
    }

    /// ISO days inside a reason, as the farm prints days.
    pub(super) fn reworded(self, text: &str) -> String {
        text.split(' ')
            .map(|word| {
                let bare = word.trim_end_matches([',', ';', '.', ':']);
                match bare.parse::<NaiveDate>() {
                    Ok(day) => word.replace(bare, &self.day(day)),
                    Err(_) => word.to_owned(),
                }
            })
            .collect::<Vec<_>>()
            .join(" ")
    }
}

impl StartStatus {
    /// The status in mails.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "none yet",
            Self::Provisional => "provisional",
            Self::Confirmed => "confirmed",
            Self::ByHand => "set by hand",
            Self::Borrowed => "borrowed",
            Self::CannotTell => "can't tell",
            Self::NotAsked => "not used",
        }
    }
}

/// Degree-days as people read them, whole and with their unit.
#[must_use]
pub(super) fn degree_days(sum: DegreeDays, unit: Unit) -> String {
    format!("{:.0} {}-days", sum.in_unit(unit), unit.symbol())
}

/// That something told holds no more.
fn taken_back(event: &Event, what: &str) -> String {
    match event {
        Event::PastServiceLife(..) => format!("{what}: not past its service life after all"),
        _ => format!("{what} withdrawn"),
    }
}

fn subject_of(event: &Event, season: &BlockSeason) -> String {
    match event {
        Event::StartProvisional => "egg-laying start provisional".to_owned(),
        Event::Start => "egg-laying start".to_owned(),
        Event::MarkNear(mark, variety) | Event::MarkPassed(mark, variety) => {
            let name = mark_name(season, mark);
            match variety {
                Some(variety) => format!("{name} ({variety})"),
                None => name,
            }
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

/// A mark with the varieties it is read for, where they differ.
pub(super) fn mark_title(reading: &MarkReading) -> String {
    if reading.hull_split != HullSplit::NotAsked {
        format!("{} ({})", reading.name, reading.varieties.join(", "))
    } else {
        reading.name.clone()
    }
}

/// The reading of a mark that people are told, for a variety or the whole block.
fn told_reading<'a>(
    season: &'a BlockSeason,
    mark: &MarkId,
    variety: Option<&str>,
) -> Option<&'a MarkReading> {
    season.marks.iter().find(|reading| {
        &reading.mark == mark
            && reading.told
            && variety.is_none_or(|variety| reading.varieties.iter().any(|v| v == variety))
    })
}

/// What happened longer ago than telling usually takes, because it became known only now.
fn late(season: &BlockSeason, value: Value) -> String {
    match value {
        Value::Day(day) if (season.as_of - day).num_days() > USUAL_DELAY_DAYS => {
            let days = (season.as_of - day).num_days();
            format!("; known only now, {days} days after")
        }
        _ => String::new(),
    }
}

pub(super) fn mark_name(season: &BlockSeason, mark: &MarkId) -> String {
    let named = season.marks.iter().find(|reading| &reading.mark == mark);
    named.map_or_else(|| mark.to_string(), |reading| reading.name.clone())
}

/// A catch per trap and night.
pub(super) fn rate_words(rate: f64) -> String {
    if rate < 0.095 && rate > 0.0 {
        format!("{rate:.2}")
    } else {
        format!("{rate:.1}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    #[test]
    fn days_are_printed_in_the_farms_order() {
        let us = Words::default();
        let other = Words {
            order: DateOrder::DayMonth,
        };
        let range = Value::Range {
            early: day(6, 20),
            middle: day(6, 24),
            late: day(6, 29),
        };
        assert_eq!(us.value(range), "Jun 20–29 (middle Jun 24)");
        assert_eq!(other.value(range), "20–29 Jun (middle 24 Jun)");
        assert_eq!(us.stretch(day(6, 28), day(7, 3)), "Jun 28 – Jul 3");
        assert_eq!(us.stretch(day(6, 28), day(6, 28)), "Jun 28");
    }

    #[test]
    fn days_inside_a_reason_are_printed_like_all_others() {
        let reason = "two checks running met the rule, 2022-04-15 and 2022-04-18; so";
        let words = Words::default().reworded(reason);
        assert_eq!(
            words,
            "two checks running met the rule, Apr 15 and Apr 18; so"
        );
    }
}
