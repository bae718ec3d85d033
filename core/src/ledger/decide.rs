//! The ledger's decisions: told once, each change corrected once.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::id::{BlockId, InsectId};

use super::event::Event;
use super::facts::{Fact, Hears, State, WhyGone};
use super::value::Value;

/// A correction of the same date follows the one before after so many days at the earliest, unless what was
/// told no longer holds at all or what had passed is ahead again, or has passed after all. The first one does
/// not wait.
const DAYS_BETWEEN_CORRECTIONS: i64 = 7;
/// News is late from so many days on after the morning on which it could be known: a sheet may
/// well be entered on the evening after.
const LATE_FROM_DAYS: i64 = 2;

/// The last thing one person was told of one event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// The year of the season.
    pub year: i32,
    /// The block.
    pub block: BlockId,
    /// The insect.
    pub insect: InsectId,
    /// The key of the event.
    pub event: String,
    /// Counts up from 1.
    pub revision: u32,
    /// What was told; `None` when it was withdrawn.
    pub value: Option<Value>,
    /// The civil day of telling.
    pub on: NaiveDate,
    /// How near it was then, by the distances of [`State::Now`].
    pub step: u8,
    /// Whether it was recorded as history.
    pub history: bool,
    /// Whether it stands for the block by what was told of one variety, when marks were told by variety.
    pub of_variety: bool,
    /// The newest day on which the event was corrected, also before this telling.
    pub corrected_on: Option<NaiveDate>,
    /// What was told before it was withdrawn; `None` while it stands.
    pub taken_back: Option<TakenBack>,
}

/// What was told last of something that was withdrawn since.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TakenBack {
    /// What was told.
    pub value: Value,
    /// The civil day of telling.
    pub on: NaiveDate,
}

/// What one person knows of the days before this store told anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Past {
    /// Tonight is the first telling: what has passed is history.
    Begins,
    /// They were given the list of it.
    Listed,
    /// Its list stood in digests that never left: it is listed again.
    Owed,
    /// They get no such list, and history stays untold.
    Unlisted,
}

/// When a night's decisions are made, for one person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// The civil day of telling.
    pub today: NaiveDate,
    /// The newest day before it that was told; `None` before the first.
    pub told_before: Option<NaiveDate>,
    /// What the person knows of the days before the first.
    pub past: Past,
}

/// Something to tell one person.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// The year of the season.
    pub year: i32,
    /// The block.
    pub block: BlockId,
    /// The insect.
    pub insect: InsectId,
    /// The event.
    pub event: Event,
    /// Counts up from 1.
    pub revision: u32,
    /// How near it is, by the distances of [`State::Now`]; 1 for what is told once.
    pub step: u8,
    /// How many days after it could first be known news comes, where a night was told without it.
    pub late: Option<u32>,
    /// Whether it changes what was told by variety, so that a person looks at it before growers hear of it.
    pub to_release: bool,
    /// What there is to tell.
    pub change: Change,
}

/// What a notice tells.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// The event, for the first time, or again after it was withdrawn.
    New(Value),
    /// It happened before the first night that anything was told: listed once, never alerted.
    History(Value),
    /// It has come nearer, and its told range still holds.
    Nearer {
        /// What was last told.
        was: Value,
        /// When.
        told_on: NaiveDate,
        /// What holds now.
        now: Value,
    },
    /// What was told has changed.
    Corrected {
        /// What was last told.
        was: Value,
        /// When.
        told_on: NaiveDate,
        /// What holds now.
        now: Value,
    },
    /// What was told no longer holds.
    Withdrawn {
        /// What was last told.
        was: Value,
        /// When.
        told_on: NaiveDate,
        /// Why it no longer holds.
        why: WhyGone,
    },
    /// What was withdrawn holds as it was told: records that were missing are back.
    FoundAgain {
        /// What was told before it was withdrawn.
        was: Value,
        /// When.
        told_on: NaiveDate,
        /// When it was withdrawn.
        withdrawn_on: NaiveDate,
        /// What holds now.
        now: Value,
    },
}

impl Change {
    /// The word in the ledger.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::New(_) => "new",
            Self::History(_) => "history",
            Self::Nearer { .. } => "nearer",
            Self::Corrected { .. } => "corrected",
            Self::Withdrawn { .. } => "withdrawn",
            Self::FoundAgain { .. } => "found-again",
        }
    }

    /// When what no longer holds was last told; `None` for what is no such change.
    #[must_use]
    pub const fn told_on(&self) -> Option<NaiveDate> {
        match self {
            Self::New(_) | Self::History(_) | Self::Nearer { .. } | Self::FoundAgain { .. } => None,
            Self::Corrected { told_on, .. } | Self::Withdrawn { told_on, .. } => Some(*told_on),
        }
    }

    /// The value to write into the ledger; `None` for a withdrawal.
    #[must_use]
    pub const fn value(&self) -> Option<Value> {
        match self {
            Self::New(value) | Self::History(value) => Some(*value),
            Self::Nearer { now, .. }
            | Self::Corrected { now, .. }
            | Self::FoundAgain { now, .. } => Some(*now),
            Self::Withdrawn { .. } => None,
        }
    }

    /// Whether it takes back something that was said to have happened, or all that was said.
    #[must_use]
    pub const fn takes_back(&self) -> bool {
        match self {
            Self::Withdrawn { .. } => true,
            Self::Corrected { was, now, .. } => was.is_other_state_than(*now),
            _ => false,
        }
    }
}

/// The notices that take something back, each date once: a mark that was told as near and as passed is one.
pub fn taken_back(notices: &[Notice]) -> impl Iterator<Item = &Notice> {
    let is_of = |one: &Notice, other: &Notice| {
        (one.year, &one.block, &one.insect) == (other.year, &other.block, &other.insect)
    };
    let back = notices.iter().filter(|notice| notice.change.takes_back());
    back.filter(move |notice| {
        let twin = match notice.event {
            Event::MarkNear(_) => notice.event.of_same_date(),
            _ => None,
        };
        let is_twin = |other: &Notice| {
            is_of(notice, other) && other.change.takes_back() && Some(&other.event) == twin.as_ref()
        };
        !notices.iter().any(is_twin)
    })
}

/// Compares tonight's facts, as one person hears them, with what that person was last told, and gives
/// what they should hear today.
#[must_use]
pub fn decide<'a>(
    facts: &[Fact],
    told: impl IntoIterator<Item = &'a Told>,
    moment: Moment,
) -> Vec<Notice> {
    let keys: Vec<String> = facts.iter().map(|fact| fact.event.to_string()).collect();
    let ledger: BTreeMap<_, &Told> = told
        .into_iter()
        .map(|t| ((t.year, &t.block, &t.insect, t.event.as_str()), t))
        .collect();
    let mut untouched = ledger.clone();
    let mut notices: Vec<Notice> = Vec::new();
    for (fact, key) in facts.iter().zip(&keys) {
        let key = (fact.year, &fact.block, &fact.insect, key.as_str());
        untouched.remove(&key);
        let twin = fact.event.of_same_date().map(|event| event.to_string());
        let twin = twin.and_then(|twin| ledger.get(&(key.0, key.1, key.2, twin.as_str())).copied());
        let last = Last {
            told: ledger.get(&key).copied(),
            twin,
        };
        notices.extend(notice(fact, last, moment));
    }
    let watched: BTreeSet<_> = facts
        .iter()
        .map(|fact| (fact.year, &fact.block, &fact.insect))
        .collect();
    let still_watched = |told: &&&Told| watched.contains(&(told.year, &told.block, &told.insect));
    let no_more = |told: &&&Told| !still_holds(told, facts, &ledger);
    let is_work = |told: &&&Told| {
        let event = told.event.parse::<Event>();
        event.is_ok_and(|event| event.is_trap_work())
    };
    notices.extend(
        untouched
            .values()
            .filter(still_watched)
            .filter(no_more)
            .filter(|told| !is_work(told))
            .filter_map(|told| vanished(told, moment)),
    );
    notices
}

/// Whether what was told of one variety holds for the block: it was told as passed since, or the block's mark
/// is within the told range. Where nothing can be told of that tonight, nothing is taken back.
fn still_holds(
    told: &Told,
    facts: &[Fact],
    ledger: &BTreeMap<(i32, &BlockId, &InsectId, &str), &Told>,
) -> bool {
    let Ok(Event::MarkNearOfVariety(mark, variety)) = told.event.parse() else {
        return false;
    };
    let passed = format!("{}:{variety}", Event::MarkPassed(mark.clone()));
    let (block, insect) = (&told.block, &told.insect);
    if ledger.contains_key(&(told.year, block, insect, passed.as_str())) {
        return true;
    }
    let of_block = facts.iter().filter(|fact| {
        (fact.year, &fact.block, &fact.insect) == (told.year, block, insect)
            && (fact.event == Event::MarkNear(mark.clone())
                || fact.event == Event::MarkPassed(mark.clone()))
    });
    let holds = |fact: &Fact| match (&fact.state, told.value) {
        (State::Now { value, .. }, Some(Value::Range { early, late, .. })) => {
            value.day().map(|day| (early..=late).contains(&day))
        }
        (State::Gone { .. }, _) => Some(false),
        _ => None,
    };
    of_block.filter_map(holds).all(|holds| holds)
}

/// What a person was told last.
#[derive(Clone, Copy)]
struct Last<'a> {
    /// Of the event itself.
    told: Option<&'a Told>,
    /// Of the other event of the same date.
    twin: Option<&'a Told>,
}

impl Last<'_> {
    /// Whether a date that the event tells as near was told as passed since: what becomes of it is told there.
    fn is_told_as_passed(self, event: &Event, past: Past) -> bool {
        let twin = self.twin.and_then(|twin| heard(twin, past));
        matches!(event, Event::MarkNear(_)) && twin.is_some()
    }

    /// The newest day on which the date was corrected, as near or as passed.
    fn corrected_on(self) -> Option<NaiveDate> {
        let both = [self.told, self.twin].into_iter().flatten();
        both.filter_map(|told| told.corrected_on).max()
    }
}

fn notice(fact: &Fact, last: Last<'_>, moment: Moment) -> Option<Notice> {
    let change = change(fact, last, moment)?;
    let reached = match fact.state {
        State::Now { step, .. } => step,
        State::Pending | State::Gone { .. } => 0,
    };
    let late = matches!(change, Change::New(_)).then(|| late(fact, moment));
    Some(Notice {
        year: fact.year,
        block: fact.block.clone(),
        insect: fact.insect.clone(),
        event: fact.event.clone(),
        revision: last.told.map_or(0, |told| told.revision) + 1,
        // Whatever is told has been told once.
        step: reached.max(1),
        late: late.flatten(),
        to_release: last.told.is_some_and(|told| told.of_variety)
            && !matches!(change, Change::Nearer { .. }),
        change,
    })
}

/// A told event that the records show no more, such as a lapse when its service turns out to have
/// been in time.
fn vanished(told: &Told, moment: Moment) -> Option<Notice> {
    let last = heard(told, moment.past)?;
    let event: Event = told.event.parse().ok()?;
    let of_variety = matches!(event, Event::MarkNearOfVariety(..));
    Some(Notice {
        year: told.year,
        block: told.block.clone(),
        insect: told.insect.clone(),
        event,
        revision: told.revision + 1,
        step: 1,
        late: None,
        to_release: of_variety || told.of_variety,
        change: Change::Withdrawn {
            was: last.value,
            told_on: last.on,
            why: match of_variety {
                true => WhyGone::OfBlock,
                false => WhyGone::ShownNoMore,
            },
        },
    })
}

/// What a person heard of an event and still believes.
struct Heard {
    value: Value,
    on: NaiveDate,
    step: u8,
    /// Whether it was told as a correction.
    corrected: bool,
}

impl Heard {
    /// Whether a person must hear of a new value. What was told as passed and then as ahead again is told once more
    /// when it passes within its range to who hears of it each time; to others the range has held.
    fn is_left_by(&self, new: Value, hears: Hears) -> bool {
        let turned = self.corrected && self.value.is_other_state_than(new);
        self.value.is_left_by(new) || turned && hears == Hears::EachTime
    }
}

/// `None` for what was withdrawn, and for history whose list did not reach the person.
fn heard(told: &Told, past: Past) -> Option<Heard> {
    let reached = !told.history || matches!(past, Past::Begins | Past::Listed);
    let value = told.value.filter(|_| reached)?;
    Some(Heard {
        value,
        on: told.on,
        step: told.step,
        corrected: told.corrected_on == Some(told.on),
    })
}

fn change(fact: &Fact, last: Last<'_>, moment: Moment) -> Option<Change> {
    let ahead = matches!(fact.state, State::Now { .. });
    if ahead && last.is_told_as_passed(&fact.event, moment.past) {
        return None;
    }
    let heard = last.told.and_then(|told| heard(told, moment.past));
    if heard.is_some() && fact.event.is_trap_work() {
        return None;
    }
    match (&fact.state, heard) {
        (State::Now { value, step: 1.. }, None) => news(&fact.event, *value, last.told, moment),
        (State::Now { value, .. }, Some(last_heard))
            if last_heard.is_left_by(*value, fact.hears) =>
        {
            let rests = last
                .corrected_on()
                .is_some_and(|on| (moment.today - on).num_days() < DAYS_BETWEEN_CORRECTIONS);
            let turned = last_heard.value.is_other_state_than(*value);
            (turned || !rests).then_some(Change::Corrected {
                was: last_heard.value,
                told_on: last_heard.on,
                now: *value,
            })
        }
        (State::Now { value, step }, Some(last_heard)) => {
            (*step > last_heard.step).then_some(Change::Nearer {
                was: last_heard.value,
                told_on: last_heard.on,
                now: *value,
            })
        }
        (State::Gone { why }, Some(last_heard)) => Some(Change::Withdrawn {
            was: last_heard.value,
            told_on: last_heard.on,
            why: why.clone(),
        }),
        _ => None,
    }
}

/// What is told of an event that the person has not heard of: news, or history. History that stays
/// untold becomes news only once it is of a later day than the night it was recorded on.
fn news(event: &Event, value: Value, last: Option<&Told>, moment: Moment) -> Option<Change> {
    let before = |day: NaiveDate| {
        let in_past =
            value.day().is_some_and(|of| of < day) && !matches!(value, Value::Range { .. });
        in_past && !event.stays_open()
    };
    let recorded = last.filter(|told| told.history);
    if let Some(found) = found_again(value, last) {
        return Some(found);
    }
    match (moment.past, recorded) {
        (Past::Begins, _) if before(moment.today) => Some(Change::History(value)),
        (Past::Owed, Some(_)) if before(moment.today) => Some(Change::History(value)),
        (Past::Unlisted, Some(told)) if before(told.on) => None,
        _ => Some(Change::New(value)),
    }
}

/// What was withdrawn and holds after all, as it was told.
fn found_again(now: Value, last: Option<&Told>) -> Option<Change> {
    let last = last?;
    let taken_back = last.taken_back?;
    (!taken_back.value.is_left_by(now)).then_some(Change::FoundAgain {
        was: taken_back.value,
        told_on: taken_back.on,
        withdrawn_on: last.on,
        now,
    })
}

/// Days since the morning on which the event could be known, where a night was told since then
/// without it: what came in while nothing was told at all is not late.
fn late(fact: &Fact, moment: Moment) -> Option<u32> {
    let knowable = fact.knowable?;
    let told_without_it = moment.told_before.is_some_and(|told| told >= knowable);
    let days = (moment.today - knowable).num_days();
    let late = told_without_it && days >= LATE_FROM_DAYS;
    late.then(|| u32::try_from(days).ok()).flatten()
}

impl Notice {
    /// The ledger's entry once it is told; `before`: that of the event before, where there is one.
    #[must_use]
    pub fn entered(&self, on: NaiveDate, before: Option<&Told>) -> Told {
        let corrected = matches!(self.change, Change::Corrected { .. });
        Told {
            year: self.year,
            block: self.block.clone(),
            insect: self.insect.clone(),
            event: self.event.to_string(),
            revision: self.revision,
            value: self.change.value(),
            on,
            step: self.step,
            history: matches!(self.change, Change::History(_)),
            of_variety: false,
            corrected_on: corrected
                .then_some(on)
                .or(before.and_then(|told| told.corrected_on)),
            taken_back: match self.change {
                Change::Withdrawn { was, told_on, .. } => Some(TakenBack {
                    value: was,
                    on: told_on,
                }),
                _ => None,
            },
        }
    }
}

#[cfg(test)]
mod tests;
