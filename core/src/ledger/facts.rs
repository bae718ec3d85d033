//! Every event of a season as it stands tonight, and as one person hears it.

use chrono::{Days, NaiveDate};

use crate::id::{BlockId, InsectId};
use crate::season::{BlockSeason, Margin, MarkReading, Outcome, Shake, TrapsToHang, not_earlier};
use crate::trapping::{Flight, Lapse, SentinelCatch, SoFar, StartStatus, WhyStart};

use super::event::{Event, FlightPart};
use super::value::Value;

/// A harvest is worth a line so many days before the likely day of its shake. Common practice, no
/// source.
const MARGIN_NEAR_DAYS: i64 = 30;
/// The month and day by which a start should be known. Common practice, no source.
const START_KNOWN_BY: (u32, u32) = (5, 31);
/// More flights than this are not seen in a year: three to four generations, more in warm years (UC IPM).
const MOST_FLIGHTS: u8 = 9;

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
    /// Whether it may go to growers: it rests on no provisional start, and no estimated day alone
    /// carries a mark over. What is not firm is nothing to tell them yet, and nothing to take back.
    pub firm: bool,
    /// The first morning on which it could be told, had everything come in when it usually does; `None`
    /// where that cannot be said.
    pub knowable: Option<NaiveDate>,
    /// Whether growers hear of it unless they choose otherwise.
    pub to_growers: bool,
    /// Who entered what it rests on: no news to them. `None` where nobody did.
    pub entered_by: Option<String>,
    /// The day on which it is told by itself, as far as that is foreseen while it is ahead.
    pub foreseen: Option<NaiveDate>,
    /// How often the person who is told it hears of it.
    pub hears: Hears,
}

/// How an event stands tonight.
#[derive(Debug, Clone, PartialEq)]
pub enum State {
    /// It has a value.
    Now {
        /// The value.
        value: Value,
        /// How many times people should have heard of it by now: 0 while nobody hears of it unasked, 1
        /// once it is told, more for what is told again as it comes nearer.
        step: u8,
    },
    /// Nothing to tell, and nothing to take back: it was followed by another event, or cannot be told
    /// tonight.
    Pending,
    /// What was told no longer holds.
    Gone {
        /// Why.
        why: WhyGone,
    },
}

/// Why what was told no longer holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyGone {
    /// The egg-laying start stands otherwise now.
    Start(WhyStart),
    /// The checks after the start show no second candidate any more.
    NoSecondCandidate,
    /// It was told of one variety, and a generation is told of the whole block now.
    OfBlock,
    /// Readings since show the flight to be not so far yet.
    Flight(SoFar),
    /// What has been entered or declared since shows it no more.
    ShownNoMore,
}

/// How often a person hears of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hears {
    /// Not at all.
    Nothing,
    /// When it is news.
    Once,
    /// Also each time it comes as near as the insect's file names.
    EachTime,
}

impl State {
    const fn told_once(value: Value) -> Self {
        Self::Now { value, step: 1 }
    }
}

impl Fact {
    /// The fact as one person hears it. A kind that they do not hear of is no news to them, but what they
    /// were told of it before is still corrected and withdrawn; with `only_firm` what is not firm is
    /// left as it was told.
    #[must_use]
    pub fn heard(self, hears: Hears, only_firm: bool) -> Self {
        let most = match hears {
            Hears::Nothing => 0,
            Hears::Once => 1,
            Hears::EachTime => u8::MAX,
        };
        let state = match self.state {
            State::Now { .. } if only_firm && !self.firm => State::Pending,
            State::Now { value, step } => State::Now {
                value,
                step: step.min(most),
            },
            state => state,
        };
        Self {
            state,
            foreseen: self.foreseen.filter(|_| hears != Hears::Nothing),
            hears,
            ..self
        }
    }
}

/// Every event of a season.
#[must_use]
pub fn facts(season: &BlockSeason) -> Vec<Fact> {
    let fact = |(event, state)| Fact {
        year: season.year,
        block: season.block.id.clone(),
        insect: season.insect.clone(),
        event,
        state,
        firm: true,
        knowable: None,
        to_growers: false,
        entered_by: None,
        foreseen: None,
        hears: Hears::EachTime,
    };
    let work = &season.work;
    let mut facts = vec![
        fact((
            Event::HangMothTraps,
            to_hang(work.moth_traps_to_hang.as_ref()),
        )),
        fact((
            Event::HangEggTraps,
            to_hang(work.egg_traps_to_hang.as_ref()),
        )),
    ];
    facts.extend(of_start(season, &fact));
    let told = season.marks.iter().filter(|reading| reading.told);
    facts.extend(told.flat_map(|reading| of_mark(season, reading, &fact)));
    facts.push(hull_split(season, &fact));
    facts.extend(flights(season).into_iter().map(|flight| Fact {
        knowable: flight_knowable(season),
        ..fact(flight)
    }));
    facts.extend(margins(season).map(&fact));
    facts.extend(season.work.lapses.iter().map(past_life).map(&fact));
    let checked = season.beside.disruption.iter();
    let catches = checked.flat_map(|checked| &checked.catches);
    facts.extend(catches.map(|caught| Fact {
        knowable: Some(after(caught.date)),
        ..fact(sentinel_catch(caught))
    }));
    facts
}

/// The morning after a day.
fn after(day: NaiveDate) -> NaiveDate {
    day.checked_add_days(Days::new(1)).unwrap_or(day)
}

/// Traps that hang by now were rightly told of before.
fn to_hang(wanted: Option<&TrapsToHang>) -> State {
    wanted.map_or(State::Pending, |wanted| {
        State::told_once(Value::Day(wanted.by))
    })
}

fn of_start(season: &BlockSeason, fact: &impl Fn((Event, State)) -> Fact) -> [Fact; 4] {
    let knowable = start_knowable(season);
    [
        Fact {
            firm: false,
            knowable,
            ..fact((Event::StartProvisional, provisional(season)))
        },
        Fact {
            knowable,
            to_growers: true,
            ..fact((Event::Start, start(season)))
        },
        Fact {
            to_growers: true,
            ..fact((Event::StartNotKnown, start_not_known(season)))
        },
        fact((Event::SecondCandidate, second_candidate(season))),
    ]
}

/// The morning after the check that decided; a start set by hand has none.
fn start_knowable(season: &BlockSeason) -> Option<NaiveDate> {
    let by_hand = season.start.status == StartStatus::ByHand;
    let decided = season.start.evidence.confirmed_on.filter(|_| !by_hand)?;
    Some(after(decided))
}

fn provisional(season: &BlockSeason) -> State {
    match (season.start.status, season.start.date) {
        (StartStatus::Provisional, Some(date)) => State::told_once(Value::Day(date)),
        (StartStatus::None, _) => start_gone(season),
        _ => State::Pending,
    }
}

fn start(season: &BlockSeason) -> State {
    let start = &season.start;
    let firm = start.date.filter(|_| start.status.is_firm());
    let within = start.may_have_begun().filter(|_| start.is_estimated());
    match (firm, within) {
        (Some(day), Some([early, late])) => State::told_once(Value::Within { early, day, late }),
        (Some(day), None) => State::told_once(Value::Day(day)),
        (None, _) => start_gone(season),
    }
}

/// What rests on a start that is none. One that only waits for its date, or for the adviser, takes nothing
/// back: the checks still show it.
fn start_gone(season: &BlockSeason) -> State {
    match &season.start.evidence.why {
        WhyStart::Doubted { .. } | WhyStart::NotDated { .. } => State::Pending,
        why => State::Gone {
            why: WhyGone::Start(why.clone()),
        },
    }
}

/// From that day on a start that is not firm is told as not known, where a date counts from it; one
/// that becomes known afterwards is news by itself.
fn start_not_known(season: &BlockSeason) -> State {
    let (month, day) = START_KNOWN_BY;
    let told = NaiveDate::from_ymd_opt(season.year, month, day);
    let told = told.filter(|day| *day <= season.as_of);
    let mut marks = season.marks.iter();
    let asked = marks.any(|reading| reading.told && reading.rests_on_start);
    match told.filter(|_| asked && !season.start.status.is_firm()) {
        Some(day) => State::told_once(Value::Day(day)),
        None => State::Pending,
    }
}

/// It is told in the block whose traps show it, not in those that borrow the start. One that the
/// adviser has settled by hand is nothing to take back.
fn second_candidate(season: &BlockSeason) -> State {
    let borrows = season.block.borrows_start();
    match (season.start.status, season.start.evidence.second_candidate) {
        (_, Some(later)) if !borrows => State::told_once(Value::Day(later.date)),
        (StartStatus::Confirmed, None) => State::Gone {
            why: WhyGone::NoSecondCandidate,
        },
        _ => State::Pending,
    }
}

fn of_mark(
    season: &BlockSeason,
    reading: &MarkReading,
    fact: &impl Fn((Event, State)) -> Fact,
) -> [Fact; 2] {
    let near = Event::MarkNear(reading.mark.clone());
    let passed = Event::MarkPassed(reading.mark.clone());
    let foreseen = reading.outcome.projection().map(|range| range.middle);
    [
        Fact {
            to_growers: reading.to_growers,
            foreseen: reading.near_from,
            ..fact((near, unless_shaken(season, near_state(season, reading))))
        },
        Fact {
            to_growers: reading.to_growers,
            foreseen,
            firm: !matches!(reading.outcome, Outcome::Passed { firm: false, .. }),
            knowable: mark_knowable(season, reading),
            ..fact((passed, unless_shaken(season, passed_state(season, reading))))
        },
    ]
}

/// A mark that rests on a start that is not firm is not told, and taken back if it was.
fn without_start(season: &BlockSeason, reading: &MarkReading) -> Option<State> {
    (reading.rests_on_start && !season.start.status.is_firm()).then(|| start_gone(season))
}

fn near_state(season: &BlockSeason, reading: &MarkReading) -> State {
    without_start(season, reading).unwrap_or_else(|| match &reading.outcome {
        Outcome::Projected(projection) => State::Now {
            value: projection.into(),
            step: reading.near,
        },
        Outcome::CannotTell { .. } | Outcome::Passed { .. } => State::Pending,
    })
}

/// The day a mark was passed. While more counts may still date the start otherwise it lies within as many days
/// to each side as the start does, so that a start that moves within its range corrects nothing.
fn passed_on(season: &BlockSeason, reading: &MarkReading, day: NaiveDate) -> Value {
    let start = &season.start;
    let moves = reading.rests_on_start && start.may_still_move(season.as_of);
    match start.date.zip(start.may_have_begun()).filter(|_| moves) {
        Some((began, [early, late])) => Value::Within {
            early: day - (began - early),
            day,
            late: day + (late - began),
        },
        None => Value::Day(day),
    }
}

fn passed_state(season: &BlockSeason, reading: &MarkReading) -> State {
    without_start(season, reading).unwrap_or_else(|| match &reading.outcome {
        Outcome::CannotTell { .. } => State::Pending,
        Outcome::Passed { date, .. } => State::told_once(passed_on(season, reading, *date)),
        // Nobody hears of it unasked, but whoever was told that it had passed is told that it is ahead again.
        Outcome::Projected(projection) => State::Now {
            value: projection.into(),
            step: 0,
        },
    })
}

/// The morning on which the station's day usually comes, by how far its newest one lies back tonight, and
/// not before the start was there to count from. Of a mark that an estimated day carried over, or that
/// waits for hull split, it cannot be said.
fn mark_knowable(season: &BlockSeason, reading: &MarkReading) -> Option<NaiveDate> {
    let measured = match reading.outcome {
        Outcome::Passed {
            date,
            by_estimate: false,
            ..
        } if !reading.waits_for_split => date,
        _ => return None,
    };
    let came = measured.checked_add_signed(season.as_of - season.newest_day?)?;
    match reading.rests_on_start {
        true => Some(came.max(start_knowable(season)?)),
        false => Some(came),
    }
}

/// How a mark stands once every variety was shaken: egg laying that comes after is none on the block's trees.
fn unless_shaken(season: &BlockSeason, state: State) -> State {
    match (season.all_shaken(), &state) {
        (Some(shaken), State::Now { value, .. })
            if value.day().is_some_and(|day| shaken <= day) =>
        {
            State::Pending
        }
        _ => state,
    }
}

/// The block's first hull split: seen, or ahead, of which nobody hears unasked.
fn hull_split(season: &BlockSeason, fact: &impl Fn((Event, State)) -> Fact) -> Fact {
    // One that nobody has entered by tonight is ahead, whatever was expected.
    let ahead = season.split.days().filter(|_| season.split_seen.is_none());
    let ahead = ahead.map(|days| not_earlier(days, season.as_of));
    let state = match (&season.split_seen, ahead) {
        (Some(seen), _) => State::told_once(Value::Day(seen.day)),
        (None, Some(days)) => State::Now {
            value: Value::Range {
                early: days.earliest,
                middle: days.likely,
                late: days.latest,
            },
            step: 0,
        },
        (None, None) => State::Gone {
            why: WhyGone::ShownNoMore,
        },
    };
    Fact {
        to_growers: true,
        entered_by: season.split_seen.as_ref().map(|seen| seen.by.clone()),
        foreseen: ahead.map(|days| days.likely),
        ..fact((Event::HullSplit, state))
    }
}

/// Starts, peaks and ends of the flights that were seen; where flights cannot be read, nothing of any
/// flight, and nothing taken back.
fn flights(season: &BlockSeason) -> Vec<(Event, State)> {
    let Ok(seen) = &season.flights else {
        let all = (1..=MOST_FLIGHTS).flat_map(|number| {
            FlightPart::ALL.map(|part| (Event::Flight(part, number), State::Pending))
        });
        return all.collect();
    };
    let parts = seen.flights.iter().flat_map(|flight| {
        FlightPart::ALL.map(|part| {
            let event = Event::Flight(part, flight.number);
            (event, flight_state(part, flight))
        })
    });
    parts.collect()
}

/// A peak that is less sure, as beside worn lures, stands in the season with why; it is no news.
fn flight_state(part: FlightPart, flight: &Flight) -> State {
    match (part.round(flight), part.missing(flight)) {
        _ if part == FlightPart::Peak && !flight.peak_doubts.is_empty() => State::Pending,
        (Some(round), _) => State::told_once(Value::Day(round.by)),
        (None, Some(so_far)) => State::Gone {
            why: WhyGone::Flight(so_far),
        },
        (None, None) => State::Pending,
    }
}

/// What is told of a flight is decided by the newest readings.
fn flight_knowable(season: &BlockSeason) -> Option<NaiveDate> {
    let seen = season.flights.as_ref().ok()?;
    Some(after(seen.newest.by))
}

/// Which comes first at each variety's harvest, from some weeks before its shake until it is shaken.
fn margins(season: &BlockSeason) -> impl Iterator<Item = (Event, State)> {
    season.exposure.iter().flat_map(move |exposure| {
        let layings = exposure.layings.iter();
        layings.filter_map(move |laying| {
            let event = Event::MarginTurned(laying.mark.clone(), exposure.variety.clone());
            let margin = laying.at_harvest.as_ref()?;
            Some((event, margin_state(season, exposure.shake?, margin)))
        })
    })
}

fn margin_state(season: &BlockSeason, shake: Shake, margin: &Margin) -> State {
    let first = margin.between.and_then(|between| between.first());
    // A mark that needs a start has no answer without one; a provisional one is not told.
    let firm = season.start.date.is_none() || season.start.status.is_firm();
    match (shake, first) {
        (Shake::Expected(days), Some(first)) if firm => State::Now {
            value: Value::First(first),
            step: u8::from((days.likely - season.as_of).num_days() <= MARGIN_NEAR_DAYS),
        },
        _ => State::Pending,
    }
}

/// A lapse that is over need not be told any more, but what was told of it stays right.
fn past_life(lapse: &Lapse) -> (Event, State) {
    let event = Event::PastServiceLife(lapse.trap.clone(), lapse.part, lapse.since);
    let state = State::Now {
        value: Value::Day(lapse.due),
        step: u8::from(lapse.ended.is_none()),
    };
    (event, state)
}

/// Said at once, whatever day it was read: an old reading that comes in late is news too.
fn sentinel_catch(caught: &SentinelCatch) -> (Event, State) {
    let event = Event::SentinelCatch(caught.trap.clone(), caught.date);
    let value = Value::Caught {
        date: caught.date,
        count: caught.count,
    };
    (event, State::told_once(value))
}

#[cfg(test)]
mod tests;
