//! Events that can be told, with the value each has tonight.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use chrono::{Days, NaiveDate};

use crate::id::{BlockId, InsectId, MarkId, TrapId};
use crate::orchard::Part;
use crate::season::{BlockSeason, HullSplit, MarkReading, Outcome, Projection};
use crate::trapping::{Lapse, SentinelCatch, StartStatus};

use super::Role;

/// A mark that an estimated day carried over is told once so many more days are in; they have carried
/// it well past.
const MEASURED_AFTER_ESTIMATE_DAYS: i64 = 5;

/// Something that can happen in a season. Its text is its key in the ledger: stable ids only.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Event {
    /// One check met the rule for the start.
    StartProvisional,
    /// The egg-laying start is confirmed, set by hand or borrowed.
    Start,
    /// A mark comes near.
    MarkNear(MarkId, Option<String>),
    /// A mark's degree-days were reached.
    MarkPassed(MarkId, Option<String>),
    /// A part of a trap, put in on a day, is past its service life.
    PastServiceLife(TrapId, Part, NaiveDate),
    /// A sentinel caught moths, read on a day, under disruption.
    SentinelCatch(TrapId, NaiveDate),
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mark = |f: &mut fmt::Formatter<'_>, what, mark, variety: &Option<String>| match variety
        {
            Some(variety) => write!(f, "{what}:{mark}:{variety}"),
            None => write!(f, "{what}:{mark}"),
        };
        match self {
            Self::StartProvisional => f.write_str("start-provisional"),
            Self::Start => f.write_str("egg-laying-start"),
            Self::MarkNear(id, variety) => mark(f, "mark-near", id, variety),
            Self::MarkPassed(id, variety) => mark(f, "mark-passed", id, variety),
            Self::PastServiceLife(trap, part, since) => {
                write!(f, "past-service-life:{trap}:{}:{since}", part.name())
            }
            Self::SentinelCatch(trap, date) => write!(f, "sentinel-catch:{trap}:{date}"),
        }
    }
}

/// A ledger key that is not one of ours.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is not the key of an event")]
pub struct BadEvent(String);

impl FromStr for Event {
    type Err = BadEvent;

    fn from_str(key: &str) -> Result<Self, BadEvent> {
        let event = || {
            let (kind, rest) = key.split_once(':').unwrap_or((key, ""));
            let (first, second) = match rest.split_once(':') {
                Some((first, second)) => (first, Some(second)),
                None => (rest, None),
            };
            let variety = second.map(str::to_owned);
            Some(match kind {
                "start-provisional" => Self::StartProvisional,
                "egg-laying-start" => Self::Start,
                "mark-near" => Self::MarkNear(first.parse().ok()?, variety),
                "mark-passed" => Self::MarkPassed(first.parse().ok()?, variety),
                "past-service-life" => {
                    let (part, since) = second?.split_once(':')?;
                    let part = Part::from_name(part)?;
                    Self::PastServiceLife(first.parse().ok()?, part, since.parse().ok()?)
                }
                "sentinel-catch" => Self::SentinelCatch(first.parse().ok()?, second?.parse().ok()?),
                _ => return None,
            })
        };
        event().ok_or_else(|| BadEvent(key.to_owned()))
    }
}

impl Event {
    /// Whether people of a role are told of it.
    #[must_use]
    pub const fn concerns(&self, role: Role) -> bool {
        match role {
            Role::Adviser => true,
            Role::Grower => match self {
                Self::Start | Self::MarkNear(..) | Self::MarkPassed(..) => true,
                Self::PastServiceLife(_, part, _) => matches!(part, Part::Lure | Part::Ppo),
                Self::StartProvisional | Self::SentinelCatch(..) => false,
            },
        }
    }
}

/// What is told of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Value {
    /// A fact: it happened on a day.
    Day(NaiveDate),
    /// A projection: a range and its middle.
    Range {
        /// First day.
        early: NaiveDate,
        /// Middle.
        middle: NaiveDate,
        /// Last day.
        late: NaiveDate,
    },
    /// Moths caught by a reading.
    Caught {
        /// The day of the reading.
        date: NaiveDate,
        /// How many.
        count: u32,
    },
}

impl Value {
    /// Its day, the middle one of a range.
    const fn day(self) -> NaiveDate {
        match self {
            Self::Day(day) | Self::Range { middle: day, .. } | Self::Caught { date: day, .. } => {
                day
            }
        }
    }

    /// Whether a new value differs so much that people who were told this one must hear of it: a
    /// projection when its new middle leaves the told range, a fact when it moves two days, a catch
    /// when its count changes.
    #[must_use]
    pub fn is_left_by(self, new: Self) -> bool {
        match (self, new) {
            (Self::Range { early, late, .. }, Self::Range { middle, .. }) => {
                !(early..=late).contains(&middle)
            }
            (Self::Day(told), Self::Day(now)) => (now - told).num_days().abs() >= 2,
            (Self::Caught { count: told, .. }, Self::Caught { count: now, .. }) => told != now,
            _ => true,
        }
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Day(day) => write!(f, "{day}"),
            Self::Range {
                early,
                middle,
                late,
            } => write!(f, "{early}/{middle}/{late}"),
            Self::Caught { date, count } => write!(f, "{date}={count}"),
        }
    }
}

/// A ledger value that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is neither a day, nor early/middle/late days, nor a day=count")]
pub struct BadValue(String);

impl FromStr for Value {
    type Err = BadValue;

    fn from_str(text: &str) -> Result<Self, BadValue> {
        let bad = || BadValue(text.to_owned());
        if let Some((date, count)) = text.split_once('=') {
            return match (date.parse(), count.parse()) {
                (Ok(date), Ok(count)) => Ok(Self::Caught { date, count }),
                _ => Err(bad()),
            };
        }
        let days: Result<Vec<NaiveDate>, _> = text.split('/').map(str::parse).collect();
        match days.map_err(|_| bad())?[..] {
            [day] => Ok(Self::Day(day)),
            [early, middle, late] => Ok(Self::Range {
                early,
                middle,
                late,
            }),
            _ => Err(bad()),
        }
    }
}

impl From<&Projection> for Value {
    fn from(projection: &Projection) -> Self {
        Self::Range {
            early: projection.early,
            middle: projection.middle,
            late: projection.late,
        }
    }
}

/// One event of one block's season, as it stands tonight.
#[derive(Debug, Clone, PartialEq)]
pub struct Fact {
    /// The year of the season.
    pub year: i32,
    /// The block.
    pub block: BlockId,
    /// The insect.
    pub insect: InsectId,
    /// The event.
    pub event: Event,
    /// How it stands.
    pub state: State,
}

/// How an event stands tonight.
#[derive(Debug, Clone, PartialEq)]
pub enum State {
    /// It has a value; `ripe` once people should hear of it unasked.
    Now {
        /// The value.
        value: Value,
        /// Whether it is time to tell it.
        ripe: bool,
    },
    /// Nothing to tell, and nothing to take back: it was followed by another event, or rests on an
    /// estimated day, or cannot be told tonight.
    Pending,
    /// What was told no longer holds.
    Gone {
        /// Why.
        reason: String,
    },
}

/// Every event of a season. `near_days`: how many days ahead of its middle a mark is near.
#[must_use]
pub fn facts(season: &BlockSeason, near_days: u16) -> Vec<Fact> {
    let mut events = vec![
        (Event::StartProvisional, provisional(season)),
        (Event::Start, start(season)),
    ];
    for reading in season.marks.iter().filter(|reading| reading.told) {
        for variety in told_varieties(season, reading) {
            let shaken = variety
                .as_deref()
                .and_then(|variety| season.shaken(variety));
            let (near, passed) = mark(season, reading, near_days);
            let (near, passed) = (before(shaken, near), before(shaken, passed));
            events.push((Event::MarkNear(reading.mark.clone(), variety.clone()), near));
            events.push((Event::MarkPassed(reading.mark.clone(), variety), passed));
        }
    }
    for mark in marks_by_variety(season) {
        let gone = || State::Gone {
            reason: "it counts from hull split now, by variety".to_owned(),
        };
        events.push((Event::MarkNear(mark.clone(), None), gone()));
        events.push((Event::MarkPassed(mark.clone(), None), gone()));
    }
    events.extend(season.lapses.iter().map(past_life));
    let checked = season.disruption.iter();
    events.extend(checked.flat_map(|checked| checked.catches.iter().map(sentinel_catch)));
    events
        .into_iter()
        .map(|(event, state)| Fact {
            year: season.year,
            block: season.block.id.clone(),
            insect: season.insect.clone(),
            event,
            state,
        })
        .collect()
}

fn provisional(season: &BlockSeason) -> State {
    match (season.start.status, season.start.date) {
        (StartStatus::Provisional, Some(date)) => State::Now {
            value: Value::Day(date),
            ripe: true,
        },
        (StartStatus::None, _) => State::Gone {
            reason: season.start.evidence.reason.clone(),
        },
        _ => State::Pending,
    }
}

fn start(season: &BlockSeason) -> State {
    match season.start.date.filter(|_| season.start.status.is_firm()) {
        Some(date) => State::Now {
            value: Value::Day(date),
            ripe: true,
        },
        None => State::Gone {
            reason: season.start.evidence.reason.clone(),
        },
    }
}

/// A mark that waits for hull split is told by variety once it is seen or expected. Before that it
/// is told once for the block, and not at all for varieties that lag behind another one: the
/// answer for those is that it can't be told, their hull split not being entered.
fn told_varieties(season: &BlockSeason, reading: &MarkReading) -> Vec<Option<String>> {
    match reading.hull_split {
        HullSplit::NotAsked => vec![None],
        HullSplit::NotEntered if season.lags(reading) => Vec::new(),
        HullSplit::NotEntered => vec![None],
        HullSplit::Expected(_) | HullSplit::Seen(_) => {
            reading.varieties.iter().cloned().map(Some).collect()
        }
    }
}

/// Marks that are told by variety by now, and so not for the block any more.
fn marks_by_variety(season: &BlockSeason) -> BTreeSet<&MarkId> {
    let told = season.marks.iter().filter(|reading| reading.told);
    told.filter(|reading| reading.hull_split.date().is_some())
        .map(|reading| &reading.mark)
        .collect()
}

/// A mark that rests on a start that is not firm is not told, and taken back if it was.
fn mark(season: &BlockSeason, reading: &MarkReading, near_days: u16) -> (State, State) {
    if reading.rests_on_start && !season.start.status.is_firm() {
        let gone = || State::Gone {
            reason: season.start.evidence.reason.clone(),
        };
        return (gone(), gone());
    }
    match &reading.outcome {
        Outcome::CannotTell { .. } => (State::Pending, State::Pending),
        Outcome::Passed { date, by_estimate } => {
            let passed = State::Now {
                value: Value::Day(*date),
                ripe: true,
            };
            let measured_since = season.newest_day.map_or(0, |day| (day - *date).num_days());
            let too_early = *by_estimate && measured_since < MEASURED_AFTER_ESTIMATE_DAYS;
            (
                State::Pending,
                if too_early { State::Pending } else { passed },
            )
        }
        Outcome::Projected(projection) => {
            let near = season
                .as_of
                .checked_add_days(Days::new(u64::from(near_days)))
                .is_some_and(|horizon| projection.middle <= horizon);
            let value = Value::from(projection);
            let projected = State::Now { value, ripe: near };
            // Nobody hears of it unasked, but whoever was told that it had passed is told when it will.
            let ahead = State::Now {
                value: Value::Day(projection.middle),
                ripe: false,
            };
            (projected, ahead)
        }
    }
}

/// How an event of a variety stands once that was shaken: what comes after says nothing of it.
fn before(shaken: Option<NaiveDate>, state: State) -> State {
    match (shaken, &state) {
        (Some(shaken), State::Now { value, .. }) if shaken <= value.day() => State::Pending,
        _ => state,
    }
}

/// A lapse that is over need not be told any more, but what was told of it stays right.
fn past_life(lapse: &Lapse) -> (Event, State) {
    let event = Event::PastServiceLife(lapse.trap.clone(), lapse.part, lapse.since);
    let state = State::Now {
        value: Value::Day(lapse.due),
        ripe: lapse.ended.is_none(),
    };
    (event, state)
}

/// Said at once, whatever day it was read: an old reading that comes in late is news too.
fn sentinel_catch(caught: &SentinelCatch) -> (Event, State) {
    let event = Event::SentinelCatch(caught.trap.clone(), caught.date);
    let state = State::Now {
        value: Value::Caught {
            date: caught.date,
            count: caught.count,
        },
        ripe: true,
    };
    (event, state)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, d).unwrap()
    }

    #[test]
    fn a_key_reads_back_what_it_writes() {
        let mark = || MarkId::new("third-generation").unwrap();
        let events = [
            Event::StartProvisional,
            Event::Start,
            Event::MarkNear(mark(), None),
            Event::MarkPassed(mark(), Some("Wood Colony: late".into())),
            Event::PastServiceLife(TrapId::new("N1-P2").unwrap(), Part::Ppo, day(1)),
            Event::SentinelCatch(TrapId::new("N1-P2").unwrap(), day(1)),
        ];
        for event in events {
            assert_eq!(event.to_string().parse(), Ok(event));
        }
        assert!(
            "past-service-life:N1-P2:wing:2022-06-01"
                .parse::<Event>()
                .is_err()
        );
    }

    #[test]
    fn a_value_reads_back_what_it_writes() {
        let range = Value::Range {
            early: day(20),
            middle: day(24),
            late: day(29),
        };
        let caught = Value::Caught {
            date: day(1),
            count: 12,
        };
        for value in [Value::Day(day(1)), range, caught] {
            assert_eq!(value.to_string().parse(), Ok(value));
        }
        assert!("2022-06-01/2022-06-02".parse::<Value>().is_err());
        assert!("soon".parse::<Value>().is_err());
        assert!("2022-06-01=few".parse::<Value>().is_err());
    }

    #[test]
    fn a_projection_is_left_only_by_a_middle_outside_its_range() {
        let told = Value::Range {
            early: day(20),
            middle: day(24),
            late: day(29),
        };
        let now = |middle| Value::Range {
            early: day(1),
            middle,
            late: day(30),
        };
        assert!(!told.is_left_by(now(day(20))));
        assert!(!told.is_left_by(now(day(29))));
        assert!(told.is_left_by(now(day(19))));
        assert!(told.is_left_by(now(day(30))));
    }

    #[test]
    fn a_fact_is_left_after_two_days() {
        assert!(!Value::Day(day(10)).is_left_by(Value::Day(day(11))));
        assert!(Value::Day(day(10)).is_left_by(Value::Day(day(12))));
        assert!(Value::Day(day(10)).is_left_by(Value::Day(day(8))));
    }

    #[test]
    fn a_mark_after_a_varietys_shake_is_nothing_to_tell() {
        let told = |d| State::Now {
            value: Value::Day(day(d)),
            ripe: true,
        };
        assert_eq!(before(None, told(12)), told(12));
        assert_eq!(before(Some(day(12)), told(11)), told(11));
        assert_eq!(before(Some(day(12)), told(12)), State::Pending);
    }
}
