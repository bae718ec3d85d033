//! Events that can be told, with their keys in the ledger.

use std::fmt;
use std::str::FromStr;

use chrono::NaiveDate;

use crate::id::{MarkId, TrapId};
use crate::orchard::Part;
use crate::trapping::{Flight, Peak, Round, SoFar};

/// Something that can happen in a season. Its text is its key in the ledger: stable ids only.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Event {
    /// Egg traps should hang by now or soon, and none does.
    HangEggTraps,
    /// Moth traps should hang by now or soon, and of some kinds none does.
    HangMothTraps,
    /// One check met the rule for the start.
    StartProvisional,
    /// The egg-laying start is confirmed, set by hand or borrowed.
    Start,
    /// The season is so far on that the start should be known, and it is not.
    StartNotKnown,
    /// Later checks met the rule again after two quiet weeks.
    SecondCandidate,
    /// A mark comes near.
    MarkNear(MarkId),
    /// A mark came near for one variety of a block. Told by an earlier version, when marks were told by
    /// variety; nothing tells it any more, it can only be taken back.
    MarkNearOfVariety(MarkId, String),
    /// A mark's degree-days were reached.
    MarkPassed(MarkId),
    /// The first hull split of sound nuts was seen in a block.
    HullSplit,
    /// A part of the year's n-th flight was seen, the one that lays the eggs of the n-th generation: a key that
    /// no day is part of, so that late readings correct what was told.
    Flight(FlightPart, u8),
    /// Which comes first at a variety's harvest, the shake or the egg laying that begins at a mark.
    MarginTurned(MarkId, String),
    /// A part of a trap, put in on a day, is past its service life.
    PastServiceLife(TrapId, Part, NaiveDate),
    /// A sentinel caught moths, read on a day, under disruption.
    SentinelCatch(TrapId, NaiveDate),
}

/// What is told of a flight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FlightPart {
    /// Its first rise.
    Start,
    /// Its highest catch.
    Peak,
    /// Back at the low.
    End,
}

impl FlightPart {
    /// In their order.
    pub const ALL: [Self; 3] = [Self::Start, Self::Peak, Self::End];

    /// The round that shows it in a flight, where one does.
    #[must_use]
    pub const fn round(self, flight: &Flight) -> Option<&Round> {
        match self {
            Self::Start => flight.start.round(),
            Self::Peak => flight.peak_round(),
            Self::End => flight.end.round(),
        }
    }

    /// What is still missing for it, where it may come yet.
    #[must_use]
    pub const fn missing(self, flight: &Flight) -> Option<SoFar> {
        match (self, &flight.peak) {
            (Self::Start, _) => flight.start.missing(),
            (Self::Peak, Peak::SoFar(why)) => Some(*why),
            (Self::Peak, _) => None,
            (Self::End, _) => flight.end.missing(),
        }
    }
}

/// What sort of event it is: a page of the guide, and a name for rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "as the events of the same name")]
pub enum EventKind {
    HangEggTraps,
    HangMothTraps,
    StartProvisional,
    Start,
    StartNotKnown,
    SecondCandidate,
    MarkNear,
    MarkPassed,
    HullSplit,
    FlightStart,
    FlightPeak,
    FlightEnd,
    MarginTurned,
    PastServiceLife,
    SentinelCatch,
}

impl EventKind {
    /// Every kind.
    pub const ALL: [Self; 15] = [
        Self::HangEggTraps,
        Self::HangMothTraps,
        Self::StartProvisional,
        Self::Start,
        Self::StartNotKnown,
        Self::SecondCandidate,
        Self::MarkNear,
        Self::MarkPassed,
        Self::HullSplit,
        Self::FlightStart,
        Self::FlightPeak,
        Self::FlightEnd,
        Self::MarginTurned,
        Self::PastServiceLife,
        Self::SentinelCatch,
    ];

    /// The word in the ledger's keys, in rules and in the guide.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::HangEggTraps => "hang-egg-traps",
            Self::HangMothTraps => "hang-moth-traps",
            Self::StartProvisional => "start-provisional",
            Self::Start => "egg-laying-start",
            Self::StartNotKnown => "start-not-known",
            Self::SecondCandidate => "second-candidate",
            Self::MarkNear => "mark-near",
            Self::MarkPassed => "mark-passed",
            Self::HullSplit => "hull-split",
            Self::FlightStart => "flight-start",
            Self::FlightPeak => "flight-peak",
            Self::FlightEnd => "flight-end",
            Self::MarginTurned => "margin-turned",
            Self::PastServiceLife => "past-service-life",
            Self::SentinelCatch => "sentinel-catch",
        }
    }

    /// Whether it rests on something that a later check may take back; growers never hear of it.
    #[must_use]
    pub const fn is_provisional(self) -> bool {
        matches!(self, Self::StartProvisional | Self::SecondCandidate)
    }

    /// Whether it goes to nobody but advisers: to shake early is a way of control, and what comes first at one
    /// harvest is close to advice on one property, which only a licensed adviser gives (California Food and
    /// Agricultural Code 11408, 11410, 11411).
    #[must_use]
    pub const fn is_for_advisers_alone(self) -> bool {
        matches!(self, Self::MarginTurned)
    }

    /// The kind of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

impl Event {
    /// The event that is told of the same date when it is no longer ahead, or was.
    pub(crate) fn of_same_date(&self) -> Option<Self> {
        match self {
            Self::MarkNear(mark) => Some(Self::MarkPassed(mark.clone())),
            Self::MarkPassed(mark) => Some(Self::MarkNear(mark.clone())),
            _ => None,
        }
    }

    /// What sort of event it is.
    #[must_use]
    pub const fn kind(&self) -> EventKind {
        match self {
            Self::HangEggTraps => EventKind::HangEggTraps,
            Self::HangMothTraps => EventKind::HangMothTraps,
            Self::StartProvisional => EventKind::StartProvisional,
            Self::Start => EventKind::Start,
            Self::StartNotKnown => EventKind::StartNotKnown,
            Self::SecondCandidate => EventKind::SecondCandidate,
            Self::MarkNear(..) | Self::MarkNearOfVariety(..) => EventKind::MarkNear,
            Self::MarkPassed(..) => EventKind::MarkPassed,
            Self::HullSplit => EventKind::HullSplit,
            Self::Flight(FlightPart::Start, _) => EventKind::FlightStart,
            Self::Flight(FlightPart::Peak, _) => EventKind::FlightPeak,
            Self::Flight(FlightPart::End, _) => EventKind::FlightEnd,
            Self::MarginTurned(..) => EventKind::MarginTurned,
            Self::PastServiceLife(..) => EventKind::PastServiceLife,
            Self::SentinelCatch(..) => EventKind::SentinelCatch,
        }
    }

    /// Whether it is work that stays open after its day, and so never of the past.
    pub(crate) const fn stays_open(&self) -> bool {
        matches!(self, Self::HangEggTraps | Self::HangMothTraps)
    }

    /// Whether it is work at the traps: that it was none after all is news to nobody.
    pub(crate) const fn is_trap_work(&self) -> bool {
        self.stays_open() || matches!(self, Self::PastServiceLife(..))
    }
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.kind().name())?;
        match self {
            Self::HangEggTraps
            | Self::HangMothTraps
            | Self::StartProvisional
            | Self::Start
            | Self::StartNotKnown
            | Self::SecondCandidate
            | Self::HullSplit => Ok(()),
            Self::MarkNear(mark) | Self::MarkPassed(mark) => write!(f, ":{mark}"),
            Self::Flight(_, number) => write!(f, ":{number}"),
            Self::MarginTurned(mark, variety) | Self::MarkNearOfVariety(mark, variety) => {
                write!(f, ":{mark}:{variety}")
            }
            Self::PastServiceLife(trap, part, since) => {
                write!(f, ":{trap}:{}:{since}", part.name())
            }
            Self::SentinelCatch(trap, date) => write!(f, ":{trap}:{date}"),
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
            let flight = |part| Some(Self::Flight(part, first.parse().ok()?));
            Some(match EventKind::from_name(kind)? {
                EventKind::HangEggTraps => Self::HangEggTraps,
                EventKind::HangMothTraps => Self::HangMothTraps,
                EventKind::StartProvisional => Self::StartProvisional,
                EventKind::Start => Self::Start,
                EventKind::StartNotKnown => Self::StartNotKnown,
                EventKind::SecondCandidate => Self::SecondCandidate,
                EventKind::HullSplit => Self::HullSplit,
                EventKind::MarkNear => match variety {
                    Some(variety) => Self::MarkNearOfVariety(first.parse().ok()?, variety),
                    None => Self::MarkNear(first.parse().ok()?),
                },
                EventKind::MarkPassed => Self::MarkPassed(rest.parse().ok()?),
                EventKind::FlightStart => flight(FlightPart::Start)?,
                EventKind::FlightPeak => flight(FlightPart::Peak)?,
                EventKind::FlightEnd => flight(FlightPart::End)?,
                EventKind::MarginTurned => Self::MarginTurned(first.parse().ok()?, variety?),
                EventKind::PastServiceLife => {
                    let (part, since) = second?.split_once(':')?;
                    let part = Part::from_name(part)?;
                    Self::PastServiceLife(first.parse().ok()?, part, since.parse().ok()?)
                }
                EventKind::SentinelCatch => {
                    Self::SentinelCatch(first.parse().ok()?, second?.parse().ok()?)
                }
            })
        };
        event().ok_or_else(|| BadEvent(key.to_owned()))
    }
}

/// An event of each kind, for tests.
#[cfg(test)]
pub(crate) fn one_of_each() -> Vec<Event> {
    let mark = || MarkId::new("third-generation").unwrap();
    let trap = || TrapId::new("N1-P2").unwrap();
    let day = NaiveDate::from_ymd_opt(2022, 6, 1).unwrap();
    let mut events = vec![
        Event::HangEggTraps,
        Event::HangMothTraps,
        Event::StartProvisional,
        Event::Start,
        Event::StartNotKnown,
        Event::SecondCandidate,
        Event::HullSplit,
        Event::MarkNear(mark()),
        Event::MarkNearOfVariety(mark(), "Wood Colony: late".into()),
        Event::MarkPassed(mark()),
        Event::MarginTurned(mark(), "Wood Colony: late".into()),
        Event::PastServiceLife(trap(), Part::Ppo, day),
        Event::SentinelCatch(trap(), day),
    ];
    events.extend(FlightPart::ALL.map(|part| Event::Flight(part, 2)));
    events
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn a_key_reads_back_what_it_writes() {
        let events = one_of_each();
        let kinds: BTreeSet<EventKind> = events.iter().map(Event::kind).collect();
        assert!(kinds.into_iter().eq(EventKind::ALL));
        for event in events {
            assert_eq!(event.to_string().parse(), Ok(event));
        }
        for wrong in [
            "past-service-life:N1-P2:wing:2022-06-01",
            "flight-peak:last",
            "mark-passed:third-generation:Nonpareil",
        ] {
            assert!(wrong.parse::<Event>().is_err(), "{wrong}");
        }
    }
}
